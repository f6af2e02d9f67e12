-- The roles and the database of one clinic. Run by the server's administrator, once for each clinic, with
-- psql and the clinic's own word in place of "north":  sed s/north/harbour/g roles.sql | psql postgres

-- Groups; persons become members of one of them.
CREATE ROLE north_reader NOLOGIN;
CREATE ROLE north_therapist NOLOGIN;
CREATE ROLE north_keeper NOLOGIN;

-- A database of its own: who belongs to another clinic cannot even connect.
CREATE DATABASE north OWNER north_keeper TEMPLATE template0 ENCODING 'UTF8';
REVOKE ALL ON DATABASE north FROM PUBLIC;
GRANT CONNECT ON DATABASE north TO north_reader, north_therapist, north_keeper;

\connect north

-- Tables are made by the keeper alone.
REVOKE ALL ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO north_reader, north_therapist;
GRANT USAGE, CREATE ON SCHEMA public TO north_keeper;

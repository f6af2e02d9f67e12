-- Persons of one clinic, each with an account of their own. Run by the server's administrator; set the passwords
-- with \password, so that they stand in no file.

CREATE ROLE kim LOGIN;
GRANT north_keeper TO kim;
-- what Kim makes belongs to all keepers
ALTER ROLE kim IN DATABASE north SET role = 'north_keeper';

CREATE ROLE anna LOGIN;
GRANT north_therapist TO anna;

CREATE ROLE ravi LOGIN;
GRANT north_reader TO ravi;

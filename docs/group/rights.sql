-- The rights on the tables of one clinic. Run by the keeper in the clinic's database, after the records were opened
-- for the first time and after each new form of the tables; running it again does no harm.
--   sed s/north/harbour/g rights.sql | psql "host=SERVER dbname=harbour user=KEEPER"

SET ROLE north_keeper;

-- A reader lists, follows, reports and makes studies.
GRANT SELECT ON ALL TABLES IN SCHEMA public TO north_reader, north_therapist;

-- A therapist stores visits, and puts a changed visit in the place of the old one.
GRANT INSERT ON clients, limbs, fields, visits, tape_rows, place_girths, photographs, visit_photographs, models,
    corrections, plans, client_conditions, arterial_checks, history TO north_therapist;
GRANT UPDATE ON visits TO north_therapist;
GRANT DELETE ON limbs, fields, tape_rows, place_girths, photographs, visit_photographs, models, corrections,
    plans, client_conditions, arterial_checks TO north_therapist;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO north_therapist;

-- Whole visits and clients are removed by the keeper only. Rows of visits hang on limbs and photographs: a
-- therapist may remove those that no visit needs any more, and no others.
ALTER TABLE limbs ENABLE ROW LEVEL SECURITY;
ALTER TABLE photographs ENABLE ROW LEVEL SECURITY;
DROP POLICY IF EXISTS seen ON limbs;
DROP POLICY IF EXISTS seen ON photographs;
DROP POLICY IF EXISTS added ON limbs;
DROP POLICY IF EXISTS added ON photographs;
DROP POLICY IF EXISTS unused ON limbs;
DROP POLICY IF EXISTS unused ON photographs;
CREATE POLICY seen ON limbs FOR SELECT TO north_reader, north_therapist USING (true);
CREATE POLICY seen ON photographs FOR SELECT TO north_reader, north_therapist USING (true);
CREATE POLICY added ON limbs FOR INSERT TO north_therapist WITH CHECK (true);
CREATE POLICY added ON photographs FOR INSERT TO north_therapist WITH CHECK (true);
CREATE POLICY unused ON limbs FOR DELETE TO north_therapist
    USING (NOT EXISTS (SELECT FROM visits WHERE visits.limb_id = limbs.id));
CREATE POLICY unused ON photographs FOR DELETE TO north_therapist
    USING (NOT EXISTS (SELECT FROM visit_photographs WHERE visit_photographs.sha256 = photographs.sha256));

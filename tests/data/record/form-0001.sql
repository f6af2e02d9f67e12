-- Records of form 0001 as its first release wrote them; never to be changed.
BEGIN TRANSACTION;
CREATE TABLE clients (
	id INTEGER NOT NULL, 
	code VARCHAR(20) NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (code)
);
INSERT INTO "clients" VALUES(1,'K-017');
INSERT INTO "clients" VALUES(2,'B-2');
CREATE TABLE limbs (
	id INTEGER NOT NULL, 
	client_id INTEGER NOT NULL, 
	kind VARCHAR(8) NOT NULL, 
	side VARCHAR(8) NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (client_id, kind, side), 
	FOREIGN KEY(client_id) REFERENCES clients (id) ON DELETE CASCADE
);
INSERT INTO "limbs" VALUES(1,1,'leg','left');
INSERT INTO "limbs" VALUES(2,2,'arm','right');
CREATE TABLE models (
	visit_id INTEGER NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	model_json TEXT NOT NULL, 
	limb_npz BLOB NOT NULL, 
	PRIMARY KEY (visit_id), 
	FOREIGN KEY(visit_id) REFERENCES visits (id) ON DELETE CASCADE
);
INSERT INTO "models" VALUES(3,'a1b7ae16305e8871a03af225a2d9bf12357e764577c6a79445c81e43c2eea3c0','{"format": "limb-model/1", "limb": "leg", "side": "left"}',X'504B');
CREATE TABLE photographs (
	sha256 VARCHAR(64) NOT NULL, 
	client_id INTEGER NOT NULL, 
	jpeg BLOB NOT NULL, 
	PRIMARY KEY (sha256), 
	FOREIGN KEY(client_id) REFERENCES clients (id) ON DELETE CASCADE
);
INSERT INTO "photographs" VALUES('32461d5bd1773012acef0ba15636752949bd7c2ce50f9172159d9f56cf0dd9af',1,X'FFD8FFD9');
CREATE TABLE record_schema (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT record_schema_pkc PRIMARY KEY (version_num)
);
INSERT INTO "record_schema" VALUES('0001');
CREATE TABLE tape_rows (
	visit_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	height_mm DOUBLE NOT NULL, 
	girth_mm DOUBLE NOT NULL, 
	line INTEGER NOT NULL, 
	point VARCHAR(8) NOT NULL, 
	PRIMARY KEY (visit_id, number), 
	FOREIGN KEY(visit_id) REFERENCES visits (id) ON DELETE CASCADE
);
INSERT INTO "tape_rows" VALUES(3,1,100.0,220.5,2,'B');
INSERT INTO "tape_rows" VALUES(3,2,190.0,250.0,3,'');
INSERT INTO "tape_rows" VALUES(5,1,100.0,180.0,2,'');
CREATE TABLE visit_photographs (
	visit_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	PRIMARY KEY (visit_id, number), 
	FOREIGN KEY(visit_id) REFERENCES visits (id) ON DELETE CASCADE, 
	FOREIGN KEY(sha256) REFERENCES photographs (sha256) ON DELETE CASCADE
);
INSERT INTO "visit_photographs" VALUES(3,1,'32461d5bd1773012acef0ba15636752949bd7c2ce50f9172159d9f56cf0dd9af');
CREATE TABLE visits (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	limb_id INTEGER NOT NULL, 
	taken_utc VARCHAR(20) NOT NULL, 
	offset_minutes INTEGER NOT NULL, 
	posture VARCHAR(16) NOT NULL, 
	measured_by VARCHAR(20) NOT NULL, 
	note TEXT NOT NULL, 
	clearance_answer VARCHAR(16) NOT NULL, 
	clearance_by VARCHAR(20) NOT NULL, 
	clearance_utc VARCHAR(20), 
	red_flags_json TEXT NOT NULL, 
	FOREIGN KEY(limb_id) REFERENCES limbs (id) ON DELETE CASCADE
);
INSERT INTO "visits" VALUES(3,1,'2026-03-02T09:15:00Z',60,'standing','AB','first form','yes','DR-1','2026-03-01T08:00:00Z','{"fever": false}');
INSERT INTO "visits" VALUES(5,2,'2026-03-03T09:15:00Z',-210,'','','','not-asked','',NULL,'{}');
CREATE INDEX ix_visits_limb_taken ON visits (limb_id, taken_utc);
CREATE INDEX ix_photographs_client_id ON photographs (client_id);
CREATE INDEX ix_visit_photographs_sha256 ON visit_photographs (sha256);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('visits',5);
COMMIT;

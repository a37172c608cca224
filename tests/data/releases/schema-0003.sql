BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0003');
CREATE TABLE amendment (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	survey_id VARCHAR NOT NULL, 
	id VARCHAR NOT NULL, 
	target_id TEXT NOT NULL, 
	field TEXT NOT NULL, 
	old TEXT NOT NULL, 
	new TEXT NOT NULL, 
	reason TEXT NOT NULL, 
	"by" TEXT NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT fk_amendment_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id), 
	CONSTRAINT uq_amendment_survey_id_id UNIQUE (survey_id, id)
);
INSERT INTO "amendment" VALUES(1,'first-survey','x1','r1','value_w_m2','1.25e-05','1.35e-05','typing slip','A. Sessor','2026-01-11');
CREATE TABLE bearing (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	survey_id VARCHAR NOT NULL, 
	id VARCHAR NOT NULL, 
	visit_id TEXT NOT NULL, 
	meter_id TEXT NOT NULL, 
	radio_state_id TEXT NOT NULL, 
	x_m FLOAT, 
	y_m FLOAT, 
	z_m FLOAT, 
	strongest_deg FLOAT, 
	null_deg FLOAT, 
	std_deg FLOAT NOT NULL, 
	strongest_w_m2 FLOAT, 
	null_w_m2 FLOAT, 
	taken_at TEXT NOT NULL, 
	note TEXT NOT NULL, 
	origin_file_name TEXT NOT NULL, 
	origin_file_sha256 TEXT NOT NULL, 
	origin_line BIGINT NOT NULL, 
	CONSTRAINT fk_bearing_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id), 
	CONSTRAINT uq_bearing_survey_id_id UNIQUE (survey_id, id)
);
INSERT INTO "bearing" VALUES(1,'first-survey','b1','v1','m1','st1',2.0,1.5,1.3,5.0,115.0,12.0,0.0023,NULL,'','','','',0);
CREATE TABLE erasure (
	survey_id VARCHAR NOT NULL, 
	CONSTRAINT pk_erasure PRIMARY KEY (survey_id)
);
CREATE TABLE log_record (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	survey_id VARCHAR NOT NULL, 
	id VARCHAR NOT NULL, 
	visit_id TEXT NOT NULL, 
	meter_id TEXT NOT NULL, 
	radio_state_id TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	media_sha256 TEXT NOT NULL, 
	series_sha256 TEXT NOT NULL, 
	place_id TEXT NOT NULL, 
	started_at TEXT NOT NULL, 
	ended_at TEXT NOT NULL, 
	note TEXT NOT NULL, 
	CONSTRAINT fk_log_record_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id), 
	CONSTRAINT uq_log_record_survey_id_id UNIQUE (survey_id, id)
);
INSERT INTO "log_record" VALUES(1,'first-survey','l1','v1','m1','st1','average','cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc','','bed','','','');
CREATE TABLE reading (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	survey_id VARCHAR NOT NULL, 
	id VARCHAR NOT NULL, 
	visit_id TEXT NOT NULL, 
	meter_id TEXT NOT NULL, 
	radio_state_id TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	value_w_m2 FLOAT NOT NULL, 
	place_id TEXT NOT NULL, 
	x_m FLOAT, 
	y_m FLOAT, 
	z_m FLOAT, 
	censoring TEXT NOT NULL, 
	orientation TEXT NOT NULL, 
	scan TEXT NOT NULL, 
	scan_edge_m FLOAT NOT NULL, 
	taken_at TEXT NOT NULL, 
	replicate BIGINT NOT NULL, 
	note TEXT NOT NULL, 
	origin_file_name TEXT NOT NULL, 
	origin_file_sha256 TEXT NOT NULL, 
	origin_line BIGINT NOT NULL, watched_s FLOAT, height_m FLOAT, body_distance_m FLOAT, accessory_id TEXT DEFAULT '' NOT NULL, 
	CONSTRAINT fk_reading_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id), 
	CONSTRAINT uq_reading_survey_id_id UNIQUE (survey_id, id)
);
INSERT INTO "reading" VALUES(1,'first-survey','r1','v1','m1','st1','peak',1.25e-05,'bed',1.0,1.0,0.6,'none','best_axis','hand_scan',0.5,'2026-01-10T10:05:00+01:00',0,'','walk.csv','aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa',2,NULL,NULL,NULL,'');
INSERT INTO "reading" VALUES(2,'first-survey','r2','v1','m1','st1','average',1.0e-08,'bed',NULL,NULL,NULL,'below_floor','best_axis','hand_scan',0.5,'2026-01-10T10:05:00+01:00',0,'','','',0,NULL,NULL,NULL,'');
INSERT INTO "reading" VALUES(3,'first-survey','r3','v1','m1','st1','highest_held',1.25e-05,'bed',1.0,1.0,0.6,'none','best_axis','hand_scan',0.5,'2026-01-10T10:05:00+01:00',0,'','walk.csv','aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa',2,30.0,1.1,NULL,'');
CREATE TABLE recording (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	survey_id VARCHAR NOT NULL, 
	id VARCHAR NOT NULL, 
	visit_id TEXT NOT NULL, 
	meter_id TEXT NOT NULL, 
	radio_state_id TEXT NOT NULL, 
	media_sha256 TEXT NOT NULL, 
	place_id TEXT NOT NULL, 
	x_m FLOAT, 
	y_m FLOAT, 
	z_m FLOAT, 
	duration_s FLOAT NOT NULL, 
	heard TEXT NOT NULL, 
	unknown_signals TEXT NOT NULL, 
	analysed_with TEXT NOT NULL, 
	taken_at TEXT NOT NULL, 
	note TEXT NOT NULL, 
	CONSTRAINT fk_recording_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id), 
	CONSTRAINT uq_recording_survey_id_id UNIQUE (survey_id, id)
);
INSERT INTO "recording" VALUES(1,'first-survey','c1','v1','m1','st1','bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb','bed',1.0,1.0,0.6,4.0,'[{"technology":"dect","probability":0.9,"evidence":""}]','["17 per second"]','0.1','','');
CREATE TABLE survey (
	id VARCHAR NOT NULL, 
	title VARCHAR NOT NULL, 
	created_at VARCHAR NOT NULL, 
	invented BOOLEAN NOT NULL, 
	note TEXT NOT NULL, 
	client VARCHAR NOT NULL, 
	address VARCHAR NOT NULL, 
	revision INTEGER NOT NULL, 
	additions INTEGER NOT NULL, 
	changed_at VARCHAR NOT NULL, 
	CONSTRAINT pk_survey PRIMARY KEY (id)
);
INSERT INTO "survey" VALUES('first-survey','An invented flat','2026-01-10',1,'made for this test','I. Nvented','Nowhere 1',3,5,'2026-01-11T00:00:00+00:00');
CREATE TABLE survey_change (
	survey_id VARCHAR NOT NULL, 
	revision INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	what VARCHAR NOT NULL, 
	CONSTRAINT pk_survey_change PRIMARY KEY (survey_id, revision), 
	CONSTRAINT fk_survey_change_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id)
);
INSERT INTO "survey_change" VALUES('first-survey',3,'2026-01-11T00:00:00+00:00','places');
CREATE TABLE survey_part (
	survey_id VARCHAR NOT NULL, 
	name VARCHAR NOT NULL, 
	body TEXT NOT NULL, 
	revision INTEGER NOT NULL, 
	CONSTRAINT pk_survey_part PRIMARY KEY (survey_id, name), 
	CONSTRAINT fk_survey_part_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id)
);
INSERT INTO "survey_part" VALUES('first-survey','title','"An invented flat"',1);
INSERT INTO "survey_part" VALUES('first-survey','note','"made for this test"',1);
INSERT INTO "survey_part" VALUES('first-survey','invented','true',1);
INSERT INTO "survey_part" VALUES('first-survey','assignment','{"client":"I. Nvented","address":"Nowhere 1","assessor":"A. Sessor","organisation":"","question":"","jurisdiction":"eu-1999-519","guideline":"","language":"de"}',1);
INSERT INTO "survey_part" VALUES('first-survey','dwelling','{"storeys":[{"id":"s0","name":"ground","floor_m":0.0,"ceiling_m":2.5,"outline":[[0.0,0.0],[4.0,0.0],[4.0,3.0],[0.0,3.0]]}],"rooms":[],"walls":[{"id":"w1","storey_id":"s0","start":[0.0,0.0],"end":[4.0,0.0],"base_m":0.0,"top_m":2.5,"layers":[{"material":"brick","thickness_m":0.24}],"exterior":true,"openings":[{"id":"o1","kind":"window","start_m":1.0,"end_m":2.0,"sill_m":0.9,"head_m":2.1,"layers":[{"material":"glass","thickness_m":0.008}]}],"shields":[]}],"slabs":[],"furniture":[],"plan_images":[],"north_deg":null}',1);
INSERT INTO "survey_part" VALUES('first-survey','places','[{"id":"bed","name":"bed","kind":"bed","room_id":"","storey_id":"s0","position":[1.0,1.0,0.6],"night_hours":8.0,"day_hours":0.0,"note":""}]',3);
INSERT INTO "survey_part" VALUES('first-survey','emitters','[]',1);
INSERT INTO "survey_part" VALUES('first-survey','meters','[{"id":"m1","name":"invented meter"}]',1);
INSERT INTO "survey_part" VALUES('first-survey','visits','[{"id":"v1","started_at":"2026-01-10T10:00:00+01:00","assessor":"A. Sessor","radio_states":[{"id":"st1","name":"as found"}]}]',1);
INSERT INTO "survey_part" VALUES('first-survey','media','[]',1);
INSERT INTO "survey_part" VALUES('first-survey','actions','[]',1);
INSERT INTO "survey_part" VALUES('first-survey','adopted_plan','null',1);
CREATE INDEX ix_reading_survey_id_seq ON reading (survey_id, seq);
CREATE INDEX ix_bearing_survey_id_seq ON bearing (survey_id, seq);
CREATE INDEX ix_recording_survey_id_seq ON recording (survey_id, seq);
CREATE INDEX ix_log_record_survey_id_seq ON log_record (survey_id, seq);
CREATE INDEX ix_amendment_survey_id_seq ON amendment (survey_id, seq);
CREATE TRIGGER reading_not_changed BEFORE UPDATE ON reading
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER reading_not_removed BEFORE DELETE ON reading
WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER reading_not_replaced BEFORE INSERT ON reading
WHEN EXISTS (SELECT 1 FROM reading WHERE survey_id = NEW.survey_id AND id = NEW.id)
    OR EXISTS (SELECT 1 FROM reading WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER bearing_not_changed BEFORE UPDATE ON bearing
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER bearing_not_removed BEFORE DELETE ON bearing
WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER bearing_not_replaced BEFORE INSERT ON bearing
WHEN EXISTS (SELECT 1 FROM bearing WHERE survey_id = NEW.survey_id AND id = NEW.id)
    OR EXISTS (SELECT 1 FROM bearing WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER recording_not_changed BEFORE UPDATE ON recording
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER recording_not_removed BEFORE DELETE ON recording
WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER recording_not_replaced BEFORE INSERT ON recording
WHEN EXISTS (SELECT 1 FROM recording WHERE survey_id = NEW.survey_id AND id = NEW.id)
    OR EXISTS (SELECT 1 FROM recording WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER log_record_not_changed BEFORE UPDATE ON log_record
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER log_record_not_removed BEFORE DELETE ON log_record
WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER log_record_not_replaced BEFORE INSERT ON log_record
WHEN EXISTS (SELECT 1 FROM log_record WHERE survey_id = NEW.survey_id AND id = NEW.id)
    OR EXISTS (SELECT 1 FROM log_record WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER amendment_not_changed BEFORE UPDATE ON amendment
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER amendment_not_removed BEFORE DELETE ON amendment
WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
CREATE TRIGGER amendment_not_replaced BEFORE INSERT ON amendment
WHEN EXISTS (SELECT 1 FROM amendment WHERE survey_id = NEW.survey_id AND id = NEW.id)
    OR EXISTS (SELECT 1 FROM amendment WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'observations are only added, never changed or removed: amend them instead'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('reading',3);
INSERT INTO "sqlite_sequence" VALUES('bearing',1);
INSERT INTO "sqlite_sequence" VALUES('recording',1);
INSERT INTO "sqlite_sequence" VALUES('log_record',1);
INSERT INTO "sqlite_sequence" VALUES('amendment',1);
COMMIT;

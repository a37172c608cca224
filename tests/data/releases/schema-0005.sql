BEGIN TRANSACTION;
CREATE TABLE account_right (
	account VARCHAR NOT NULL, 
	granted TEXT NOT NULL, 
	CONSTRAINT pk_account_right PRIMARY KEY (account)
);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0005');
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
CREATE TABLE chain_link (
	survey_id VARCHAR NOT NULL, 
	number INTEGER NOT NULL, 
	at TEXT NOT NULL, 
	"by" TEXT NOT NULL, 
	device TEXT NOT NULL, 
	what TEXT NOT NULL, 
	content TEXT NOT NULL, 
	previous TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	signer TEXT NOT NULL, 
	signature TEXT NOT NULL, account TEXT DEFAULT '' NOT NULL, 
	CONSTRAINT pk_chain_link PRIMARY KEY (survey_id, number), 
	CONSTRAINT fk_chain_link_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id)
);
INSERT INTO "chain_link" VALUES('first-survey',1,'2026-11-29T18:02:29.858+00:00','','','everything from before the chain was kept','{"parts":{"actions":"4f53cda18c2baa0c0354bb5f9a3ecbe5ed12ab4d8e11ba873c2f11161202b945","adopted_plan":"74234e98afe7498fb5daf1f36ac2d78acc339464f950703b8c019892f982b90b","assignment":"dd882b70eef3287135acf95a2842b95eec26641cdb99701f3525dfb4dc7158af","dwelling":"6d63340abec3ebb7ad323de5a6ee28843ad1995d51bacb1cb989347938292b6d","emitters":"4f53cda18c2baa0c0354bb5f9a3ecbe5ed12ab4d8e11ba873c2f11161202b945","invented":"b5bea41b6c623f7c09f1bf24dcae58ebab3c0cdd90ad966bc43a45b44867e12b","media":"4f53cda18c2baa0c0354bb5f9a3ecbe5ed12ab4d8e11ba873c2f11161202b945","meters":"fef3795cbce4bc050c1a7b00a3d67bdedc22d9a076a2994a9ba75cecd9a91232","note":"7de303400ac16a480e5b2e9efab9906a09dc1966fe29e447cbaf16f5ea71b6d3","places":"5936859499eeb8247e223ab072e93599a8d90847974af0cb3f96e8b8351f36eb","title":"2700f30b2ef1deb21f61726897b360a91ebd29b634f08964977a3af6adb52255","visits":"74f59770378a597b804c46689efdaa219e68ec3c00023615fde27d31665c7746"},"rows":{"amendment":{"columns":["at","by","field","id","new","old","reason","target_id"],"count":1,"sha256":"b54874029067b7b29309d367771ed29da0609630068be78581a7e10c964da649"},"bearing":{"columns":["id","meter_id","note","null_deg","null_w_m2","origin_file_name","origin_file_sha256","origin_line","radio_state_id","std_deg","strongest_deg","strongest_w_m2","taken_at","visit_id","x_m","y_m","z_m"],"count":1,"sha256":"67f88b3d757a097d14656447a4523a376dc47983e416d8bc518a7ebd3fa0acb0"},"log_record":{"columns":["ended_at","id","kind","media_sha256","meter_id","note","place_id","radio_state_id","series_sha256","started_at","visit_id"],"count":1,"sha256":"113b96c63b2e1c56a0910cb7585ac38d5b53d62e2430b8a2ba69b8282bcd503d"},"reading":{"columns":["accessory_id","body_distance_m","censoring","height_m","id","kind","meter_id","note","orientation","origin_file_name","origin_file_sha256","origin_line","place_id","radio_state_id","replicate","scan","scan_edge_m","taken_at","value_w_m2","visit_id","watched_s","x_m","y_m","z_m"],"count":3,"sha256":"244e285ec0892cb351318bdc4956910efe3a9fd147ea831e5c5b7cf2f1ac5c4d"},"recording":{"columns":["analysed_with","duration_s","heard","id","media_sha256","meter_id","note","place_id","radio_state_id","taken_at","unknown_signals","visit_id","x_m","y_m","z_m"],"count":1,"sha256":"70edd718352a2ad3609fe58fdfa2849a7d8ea11d7d667e97949b454cabd03228"}}}','0000000000000000000000000000000000000000000000000000000000000000','7abe2d9de60cd01cc8e49633c3d992814ce82fd9dcd7f5e43be6b8d3dd2a3fe0','','','');
CREATE TABLE deletion (
	survey_id VARCHAR NOT NULL, 
	head VARCHAR NOT NULL, 
	at TEXT NOT NULL, 
	"by" TEXT NOT NULL, 
	device TEXT NOT NULL, 
	CONSTRAINT pk_deletion PRIMARY KEY (survey_id, head)
);
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
CREATE TABLE media_chunk (
	sha256 VARCHAR NOT NULL, 
	number INTEGER NOT NULL, 
	body BLOB NOT NULL, 
	CONSTRAINT pk_media_chunk PRIMARY KEY (sha256, number), 
	CONSTRAINT fk_media_chunk_sha256_media_file FOREIGN KEY(sha256) REFERENCES media_file (sha256)
);
CREATE TABLE media_file (
	sha256 VARCHAR NOT NULL, 
	size BIGINT NOT NULL, 
	CONSTRAINT pk_media_file PRIMARY KEY (sha256)
);
CREATE TABLE part_version (
	survey_id VARCHAR NOT NULL, 
	number INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	body TEXT NOT NULL, 
	CONSTRAINT pk_part_version PRIMARY KEY (survey_id, number, name), 
	CONSTRAINT fk_part_version_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id)
);
INSERT INTO "part_version" VALUES('first-survey',1,'actions','[]');
INSERT INTO "part_version" VALUES('first-survey',1,'adopted_plan','null');
INSERT INTO "part_version" VALUES('first-survey',1,'assignment','{"client":"I. Nvented","address":"Nowhere 1","assessor":"A. Sessor","organisation":"","question":"","jurisdiction":"eu-1999-519","guideline":"","language":"de"}');
INSERT INTO "part_version" VALUES('first-survey',1,'dwelling','{"storeys":[{"id":"s0","name":"ground","floor_m":0.0,"ceiling_m":2.5,"outline":[[0.0,0.0],[4.0,0.0],[4.0,3.0],[0.0,3.0]]}],"rooms":[],"walls":[{"id":"w1","storey_id":"s0","start":[0.0,0.0],"end":[4.0,0.0],"base_m":0.0,"top_m":2.5,"layers":[{"material":"brick","thickness_m":0.24}],"exterior":true,"openings":[{"id":"o1","kind":"window","start_m":1.0,"end_m":2.0,"sill_m":0.9,"head_m":2.1,"layers":[{"material":"glass","thickness_m":0.008}]}],"shields":[]}],"slabs":[],"furniture":[],"plan_images":[],"north_deg":null}');
INSERT INTO "part_version" VALUES('first-survey',1,'emitters','[]');
INSERT INTO "part_version" VALUES('first-survey',1,'invented','true');
INSERT INTO "part_version" VALUES('first-survey',1,'media','[]');
INSERT INTO "part_version" VALUES('first-survey',1,'meters','[{"id":"m1","name":"invented meter"}]');
INSERT INTO "part_version" VALUES('first-survey',1,'note','"made for this test"');
INSERT INTO "part_version" VALUES('first-survey',1,'places','[{"id":"bed","name":"bed","kind":"bed","room_id":"","storey_id":"s0","position":[1.0,1.0,0.6],"night_hours":8.0,"day_hours":0.0,"note":""}]');
INSERT INTO "part_version" VALUES('first-survey',1,'title','"An invented flat"');
INSERT INTO "part_version" VALUES('first-survey',1,'visits','[{"id":"v1","started_at":"2026-01-10T10:00:00+01:00","assessor":"A. Sessor","radio_states":[{"id":"st1","name":"as found"}]}]');
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
CREATE TABLE survey_owner (
	survey_id VARCHAR NOT NULL, 
	number INTEGER NOT NULL, 
	owner TEXT NOT NULL, 
	given_by TEXT NOT NULL, 
	at TEXT NOT NULL, 
	CONSTRAINT pk_survey_owner PRIMARY KEY (survey_id, number), 
	CONSTRAINT fk_survey_owner_survey_id_survey FOREIGN KEY(survey_id) REFERENCES survey (id)
);
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
CREATE TRIGGER chain_link_not_changed BEFORE UPDATE ON chain_link  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER chain_link_not_removed BEFORE DELETE ON chain_link WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER chain_link_not_replaced BEFORE INSERT ON chain_link WHEN EXISTS (SELECT 1 FROM chain_link WHERE survey_id = NEW.survey_id AND number = NEW.number)  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER part_version_not_changed BEFORE UPDATE ON part_version  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER part_version_not_removed BEFORE DELETE ON part_version WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER part_version_not_replaced BEFORE INSERT ON part_version WHEN EXISTS (SELECT 1 FROM part_version WHERE survey_id = NEW.survey_id AND number = NEW.number AND name = NEW.name)  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER deletion_not_changed BEFORE UPDATE ON deletion  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER deletion_not_removed BEFORE DELETE ON deletion  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER deletion_not_replaced BEFORE INSERT ON deletion WHEN EXISTS (SELECT 1 FROM deletion WHERE survey_id = NEW.survey_id AND head = NEW.head)  BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER survey_owner_not_changed BEFORE UPDATE ON survey_owner BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER survey_owner_not_removed BEFORE DELETE ON survey_owner WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id) BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
CREATE TRIGGER survey_owner_not_replaced BEFORE INSERT ON survey_owner WHEN EXISTS (SELECT 1 FROM survey_owner WHERE survey_id = NEW.survey_id AND number = NEW.number) BEGIN SELECT RAISE(ABORT, 'the chain is only added to, never changed or removed'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('reading',3);
INSERT INTO "sqlite_sequence" VALUES('bearing',1);
INSERT INTO "sqlite_sequence" VALUES('recording',1);
INSERT INTO "sqlite_sequence" VALUES('log_record',1);
INSERT INTO "sqlite_sequence" VALUES('amendment',1);
COMMIT;

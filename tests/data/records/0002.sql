BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002_logbook');
CREATE TABLE candidate (
	id INTEGER NOT NULL, 
	photo VARCHAR NOT NULL, 
	source VARCHAR NOT NULL, 
	cue VARCHAR NOT NULL, 
	body TEXT NOT NULL, 
	added_by VARCHAR, 
	added_at DATETIME NOT NULL, 
	CONSTRAINT pk_candidate PRIMARY KEY (id), 
	CONSTRAINT ck_candidate_source CHECK (source IN ('engine', 'person')), 
	CONSTRAINT fk_candidate_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
INSERT INTO "candidate" VALUES(1,'xTCBrppjCLPsDDHu5GYpNA','engine','rust_trail','{"id": 1, "cue": "rust_trail", "fastener": 1, "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.9, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:32:22.165871');
INSERT INTO "candidate" VALUES(2,'xTCBrppjCLPsDDHu5GYpNA','engine','gap','{"id": 2, "cue": "gap", "fastener": 1, "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.4, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:32:22.197301');
INSERT INTO "candidate" VALUES(3,'nPKu_DkHPEhVB5IxrZbsPg','engine','rust_trail','{"id": 1, "cue": "rust_trail", "fastener": 1, "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.85, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:32:22.332307');
INSERT INTO "candidate" VALUES(4,'nPKu_DkHPEhVB5IxrZbsPg','engine','gap','{"id": 2, "cue": "gap", "fastener": 1, "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.4, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:32:22.333659');
INSERT INTO "candidate" VALUES(5,'81eFLll6T58HSyuAHa2vkQ','engine','rust_trail','{"id": 1, "cue": "rust_trail", "fastener": 1, "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.8, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:32:22.445497');
INSERT INTO "candidate" VALUES(6,'81eFLll6T58HSyuAHa2vkQ','engine','gap','{"id": 2, "cue": "gap", "fastener": 1, "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.4, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:32:22.446596');
INSERT INTO "candidate" VALUES(7,'81eFLll6T58HSyuAHa2vkQ','person','missing_nut','{"id": 0, "cue": "missing_nut", "fastener": null, "box": [5.0, 5.0, 9.0, 9.0], "outline": [[5.0, 5.0], [14.0, 5.0], [14.0, 14.0], [5.0, 14.0]], "score": 1.0, "measures": {}, "reason": "by hand"}','R. Roe','2026-11-26 22:32:22.861976');
CREATE TABLE decision (
	id INTEGER NOT NULL, 
	candidate INTEGER NOT NULL, 
	outcome VARCHAR, 
	"by" VARCHAR NOT NULL, 
	note TEXT NOT NULL, 
	at DATETIME NOT NULL, 
	supersedes INTEGER, 
	undoes INTEGER, 
	CONSTRAINT pk_decision PRIMARY KEY (id), 
	CONSTRAINT ck_decision_outcome CHECK (outcome IN ('confirmed', 'ruled_out', 'cannot_tell')), 
	CONSTRAINT fk_decision_candidate FOREIGN KEY(candidate) REFERENCES candidate (id), 
	CONSTRAINT uq_decision_supersedes UNIQUE (supersedes), 
	CONSTRAINT fk_decision_supersedes FOREIGN KEY(supersedes) REFERENCES decision (id), 
	CONSTRAINT uq_decision_undoes UNIQUE (undoes), 
	CONSTRAINT fk_decision_undoes FOREIGN KEY(undoes) REFERENCES decision (id)
);
INSERT INTO "decision" VALUES(1,1,'confirmed','J. Doe','wet below','2026-11-26 22:32:22.680899',NULL,NULL);
INSERT INTO "decision" VALUES(2,2,'ruled_out','J. Doe','','2026-11-26 22:32:22.736757',NULL,NULL);
INSERT INTO "decision" VALUES(3,3,'cannot_tell','R. Roe','','2026-11-26 22:32:22.753343',NULL,NULL);
INSERT INTO "decision" VALUES(4,3,'ruled_out','R. Roe','a reflector','2026-11-26 22:32:22.776764',3,NULL);
INSERT INTO "decision" VALUES(5,3,'cannot_tell','R. Roe','','2026-11-26 22:32:22.799021',4,4);
INSERT INTO "decision" VALUES(6,7,'confirmed','R. Roe','by hand','2026-11-26 22:32:22.862960',NULL,NULL);
CREATE TABLE flagged (
	screening INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	candidate INTEGER NOT NULL, 
	score FLOAT NOT NULL, 
	CONSTRAINT pk_flagged PRIMARY KEY (screening, number), 
	CONSTRAINT fk_flagged_screening FOREIGN KEY(screening) REFERENCES screening (id), 
	CONSTRAINT fk_flagged_candidate FOREIGN KEY(candidate) REFERENCES candidate (id)
);
INSERT INTO "flagged" VALUES(1,1,1,0.9);
INSERT INTO "flagged" VALUES(1,2,2,0.4);
INSERT INTO "flagged" VALUES(2,1,3,0.85);
INSERT INTO "flagged" VALUES(2,2,4,0.4);
INSERT INTO "flagged" VALUES(3,1,5,0.8);
INSERT INTO "flagged" VALUES(3,2,6,0.4);
CREATE TABLE logbook (
	id INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	unit INTEGER, 
	visit INTEGER, 
	photo VARCHAR, 
	candidate INTEGER, 
	body TEXT, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	supersedes INTEGER, 
	CONSTRAINT pk_logbook PRIMARY KEY (id), 
	CONSTRAINT fk_logbook_unit FOREIGN KEY(unit) REFERENCES unit (id), 
	CONSTRAINT fk_logbook_visit FOREIGN KEY(visit) REFERENCES visit (id), 
	CONSTRAINT fk_logbook_photo FOREIGN KEY(photo) REFERENCES photo (id), 
	CONSTRAINT fk_logbook_candidate FOREIGN KEY(candidate) REFERENCES candidate (id), 
	CONSTRAINT uq_logbook_supersedes UNIQUE (supersedes), 
	CONSTRAINT fk_logbook_supersedes FOREIGN KEY(supersedes) REFERENCES logbook (id)
);
INSERT INTO "logbook" VALUES(1,'placed',1,1,'nPKu_DkHPEhVB5IxrZbsPg',NULL,'{"axle": 2, "side": "left", "component": "torque rod"}','J. Doe','2026-11-26 22:32:22.969350',NULL);
INSERT INTO "logbook" VALUES(2,'follow_up',NULL,NULL,NULL,1,'{"say": "replace the bushing"}','J. Doe','2026-11-26 22:32:23.012149',NULL);
CREATE TABLE photo (
	id VARCHAR NOT NULL, 
	sha256 VARCHAR NOT NULL, 
	name VARCHAR NOT NULL, 
	path VARCHAR NOT NULL, 
	width INTEGER NOT NULL, 
	height INTEGER NOT NULL, 
	taken VARCHAR, 
	visit INTEGER, 
	position INTEGER, 
	added_at DATETIME NOT NULL, 
	CONSTRAINT pk_photo PRIMARY KEY (id), 
	CONSTRAINT uq_photo_sha256 UNIQUE (sha256), 
	CONSTRAINT fk_photo_visit FOREIGN KEY(visit) REFERENCES visit (id), 
	CONSTRAINT fk_photo_position FOREIGN KEY(position) REFERENCES position (id)
);
INSERT INTO "photo" VALUES('xTCBrppjCLPsDDHu5GYpNA','b3fd25d9a91bb241a2dfdc5b55c40bed8f44ce6e10f66e87b585f14261e930f7','IMG_0.png','b3/b3fd25d9a91bb241a2dfdc5b55c40bed8f44ce6e10f66e87b585f14261e930f7.png',32,24,NULL,NULL,NULL,'2026-11-26 22:32:22.129535');
INSERT INTO "photo" VALUES('nPKu_DkHPEhVB5IxrZbsPg','35d60de4454c6fbfdde40c097eb20ebe80163d02b1b837db0e8c7ec45a7b665a','IMG_1.png','35/35d60de4454c6fbfdde40c097eb20ebe80163d02b1b837db0e8c7ec45a7b665a.png',32,24,NULL,1,1,'2026-11-26 22:32:22.305224');
INSERT INTO "photo" VALUES('81eFLll6T58HSyuAHa2vkQ','325432ddf45ed2c4202ff5a056b8936b6748d90871c1dcff78c9f8765204678e','IMG_2.png','32/325432ddf45ed2c4202ff5a056b8936b6748d90871c1dcff78c9f8765204678e.png',32,24,NULL,1,NULL,'2026-11-26 22:32:22.418163');
CREATE TABLE position (
	id INTEGER NOT NULL, 
	unit INTEGER NOT NULL, 
	axle INTEGER NOT NULL, 
	side VARCHAR NOT NULL, 
	component VARCHAR NOT NULL, 
	CONSTRAINT pk_position PRIMARY KEY (id), 
	CONSTRAINT ck_position_side CHECK (side IN ('left', 'right', 'centre')), 
	CONSTRAINT uq_position_unit_axle_side_component UNIQUE (unit, axle, side, component), 
	CONSTRAINT fk_position_unit FOREIGN KEY(unit) REFERENCES unit (id)
);
INSERT INTO "position" VALUES(1,1,2,'left','torque rod');
CREATE TABLE screening (
	id INTEGER NOT NULL, 
	photo VARCHAR NOT NULL, 
	engine VARCHAR NOT NULL, 
	priority FLOAT NOT NULL, 
	top_cue VARCHAR, 
	usable BOOLEAN NOT NULL, 
	record TEXT NOT NULL, 
	screened_at DATETIME NOT NULL, 
	CONSTRAINT pk_screening PRIMARY KEY (id), 
	CONSTRAINT fk_screening_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
INSERT INTO "screening" VALUES(1,'xTCBrppjCLPsDDHu5GYpNA','0.1.0',0.9,'rust_trail',1,'{"schema":"visual-aid/screening/1","engine":"0.1.0","photo":{"name":"IMG_0.png","path":"","sha256":"b3fd25d9a91bb241a2dfdc5b55c40bed8f44ce6e10f66e87b585f14261e930f7","width":32,"height":24,"taken":null},"quality":{"usable":true,"problems":[]},"fasteners":[{"id":1,"kind":"hex_nut","cx":16.0,"cy":12.0,"radius":5.0,"angle":null,"tilt":null,"score":1.0,"group":null}],"candidates":[{"id":1,"cue":"rust_trail","fastener":1,"box":[2.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.9,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"},{"id":2,"cue":"gap","fastener":1,"box":[4.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.4,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"}],"not_judged":[{"cue":"clean_outlier","why":"fewer than three like nuts"}],"priority":0.9,"seconds":0.0,"error":null}','2026-11-26 22:32:22.148781');
INSERT INTO "screening" VALUES(2,'nPKu_DkHPEhVB5IxrZbsPg','0.1.0',0.85,'rust_trail',1,'{"schema":"visual-aid/screening/1","engine":"0.1.0","photo":{"name":"IMG_1.png","path":"","sha256":"35d60de4454c6fbfdde40c097eb20ebe80163d02b1b837db0e8c7ec45a7b665a","width":32,"height":24,"taken":null},"quality":{"usable":true,"problems":[]},"fasteners":[{"id":1,"kind":"hex_nut","cx":16.0,"cy":12.0,"radius":5.0,"angle":null,"tilt":null,"score":1.0,"group":null}],"candidates":[{"id":1,"cue":"rust_trail","fastener":1,"box":[2.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.85,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"},{"id":2,"cue":"gap","fastener":1,"box":[4.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.4,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"}],"not_judged":[{"cue":"clean_outlier","why":"fewer than three like nuts"}],"priority":0.85,"seconds":0.0,"error":null}','2026-11-26 22:32:22.306857');
INSERT INTO "screening" VALUES(3,'81eFLll6T58HSyuAHa2vkQ','0.1.0',0.8,'rust_trail',0,'{"schema":"visual-aid/screening/1","engine":"0.1.0","photo":{"name":"IMG_2.png","path":"","sha256":"325432ddf45ed2c4202ff5a056b8936b6748d90871c1dcff78c9f8765204678e","width":32,"height":24,"taken":null},"quality":{"usable":false,"problems":[{"code":"dark","value":0.1,"limit":0.2,"say":"too dark: use a lamp"}]},"fasteners":[{"id":1,"kind":"hex_nut","cx":16.0,"cy":12.0,"radius":5.0,"angle":null,"tilt":null,"score":1.0,"group":null}],"candidates":[{"id":1,"cue":"rust_trail","fastener":1,"box":[2.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.8,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"},{"id":2,"cue":"gap","fastener":1,"box":[4.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.4,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"}],"not_judged":[{"cue":"clean_outlier","why":"fewer than three like nuts"}],"priority":0.8,"seconds":0.0,"error":null}','2026-11-26 22:32:22.444260');
CREATE TABLE unit (
	id INTEGER NOT NULL, 
	number VARCHAR NOT NULL, 
	CONSTRAINT pk_unit PRIMARY KEY (id), 
	CONSTRAINT uq_unit_number UNIQUE (number)
);
INSERT INTO "unit" VALUES(1,'417');
CREATE TABLE visit (
	id INTEGER NOT NULL, 
	unit INTEGER NOT NULL, 
	date DATE NOT NULL, 
	odometer FLOAT, 
	odometer_unit VARCHAR, 
	inspector VARCHAR NOT NULL, 
	CONSTRAINT pk_visit PRIMARY KEY (id), 
	CONSTRAINT ck_visit_odometer_unit CHECK (odometer_unit IN ('km', 'mi')), 
	CONSTRAINT fk_visit_unit FOREIGN KEY(unit) REFERENCES unit (id)
);
INSERT INTO "visit" VALUES(1,1,'2026-05-04',900.0,'mi','J. Doe');
CREATE INDEX ix_visit_unit_date ON visit (unit, date);
CREATE INDEX ix_photo_position ON photo (position);
CREATE INDEX ix_photo_visit ON photo (visit);
CREATE INDEX ix_screening_engine ON screening (engine);
CREATE INDEX ix_screening_top_cue ON screening (top_cue);
CREATE INDEX ix_screening_priority ON screening (priority);
CREATE INDEX ix_screening_photo ON screening (photo);
CREATE INDEX ix_candidate_cue ON candidate (cue);
CREATE INDEX ix_candidate_photo ON candidate (photo);
CREATE INDEX ix_flagged_candidate ON flagged (candidate);
CREATE INDEX ix_decision_candidate_id ON decision (candidate, id);
CREATE INDEX ix_logbook_visit ON logbook (visit);
CREATE INDEX ix_logbook_photo ON logbook (photo);
CREATE INDEX ix_logbook_candidate ON logbook (candidate);
CREATE INDEX ix_logbook_kind ON logbook (kind);
CREATE INDEX ix_logbook_unit ON logbook (unit);
COMMIT;

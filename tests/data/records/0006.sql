BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0006_fasteners');
CREATE TABLE answer (
	sitting INTEGER NOT NULL, 
	item INTEGER NOT NULL, 
	taps TEXT NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_answer PRIMARY KEY (sitting, item), 
	CONSTRAINT fk_answer_sitting FOREIGN KEY(sitting) REFERENCES sitting (id)
);
CREATE TABLE blur (
	id INTEGER NOT NULL, 
	photo VARCHAR NOT NULL, 
	boxes TEXT NOT NULL, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_blur PRIMARY KEY (id), 
	CONSTRAINT fk_blur_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
CREATE TABLE calibration (
	id INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	slope FLOAT NOT NULL, 
	intercept FLOAT NOT NULL, 
	decided INTEGER NOT NULL, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_calibration PRIMARY KEY (id), 
	CONSTRAINT ck_calibration_slope CHECK (slope > 0), 
	CONSTRAINT uq_calibration_name UNIQUE (name)
);
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
INSERT INTO "candidate" VALUES(1,'HrZu5E8HF5gsxN8vNUOcFg','engine','rust_trail','{"id": 1, "cue": "rust_trail", "fastener": 1, "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.9, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:33:17.070589');
INSERT INTO "candidate" VALUES(2,'HrZu5E8HF5gsxN8vNUOcFg','engine','gap','{"id": 2, "cue": "gap", "fastener": 1, "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.4, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:33:17.097176');
INSERT INTO "candidate" VALUES(3,'nrtgvkE3zXDRLXVvXhLgCw','engine','rust_trail','{"id": 1, "cue": "rust_trail", "fastener": 1, "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.85, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:33:17.320552');
INSERT INTO "candidate" VALUES(4,'nrtgvkE3zXDRLXVvXhLgCw','engine','gap','{"id": 2, "cue": "gap", "fastener": 1, "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.4, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:33:17.321646');
INSERT INTO "candidate" VALUES(5,'AGRpf43wsjJ2WcYHiTSpCA','engine','rust_trail','{"id": 1, "cue": "rust_trail", "fastener": 1, "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.8, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:33:17.406571');
INSERT INTO "candidate" VALUES(6,'AGRpf43wsjJ2WcYHiTSpCA','engine','gap','{"id": 2, "cue": "gap", "fastener": 1, "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "score": 0.4, "measures": {"length_r": 3.2}, "reason": "run of rust, 3.2 nut radii long"}',NULL,'2026-11-26 22:33:17.552841');
INSERT INTO "candidate" VALUES(7,'AGRpf43wsjJ2WcYHiTSpCA','person','missing_nut','{"id": 0, "cue": "missing_nut", "fastener": null, "box": [5.0, 5.0, 9.0, 9.0], "outline": [[5.0, 5.0], [14.0, 5.0], [14.0, 14.0], [5.0, 14.0]], "score": 1.0, "measures": {}, "reason": "by hand"}','R. Roe','2026-11-26 22:33:18.096298');
CREATE TABLE changed (
	comparison INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	candidate INTEGER NOT NULL, 
	score FLOAT NOT NULL, 
	body TEXT NOT NULL, 
	CONSTRAINT pk_changed PRIMARY KEY (comparison, number), 
	CONSTRAINT fk_changed_comparison FOREIGN KEY(comparison) REFERENCES comparison (id), 
	CONSTRAINT fk_changed_candidate FOREIGN KEY(candidate) REFERENCES candidate (id)
);
CREATE TABLE comparison (
	id INTEGER NOT NULL, 
	"before" VARCHAR NOT NULL, 
	"after" VARCHAR NOT NULL, 
	engine VARCHAR NOT NULL, 
	record TEXT NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_comparison PRIMARY KEY (id), 
	CONSTRAINT fk_comparison_before FOREIGN KEY("before") REFERENCES photo (id), 
	CONSTRAINT fk_comparison_after FOREIGN KEY("after") REFERENCES photo (id)
);
CREATE TABLE decision (
	id INTEGER NOT NULL, 
	candidate INTEGER NOT NULL, 
	outcome VARCHAR, 
	"by" VARCHAR NOT NULL, 
	note TEXT NOT NULL, 
	at DATETIME NOT NULL, 
	supersedes INTEGER, 
	undoes INTEGER, bulk VARCHAR, 
	CONSTRAINT pk_decision PRIMARY KEY (id), 
	CONSTRAINT ck_decision_outcome CHECK (outcome IN ('confirmed', 'ruled_out', 'cannot_tell')), 
	CONSTRAINT fk_decision_candidate FOREIGN KEY(candidate) REFERENCES candidate (id), 
	CONSTRAINT uq_decision_supersedes UNIQUE (supersedes), 
	CONSTRAINT fk_decision_supersedes FOREIGN KEY(supersedes) REFERENCES decision (id), 
	CONSTRAINT uq_decision_undoes UNIQUE (undoes), 
	CONSTRAINT fk_decision_undoes FOREIGN KEY(undoes) REFERENCES decision (id)
);
INSERT INTO "decision" VALUES(1,1,'confirmed','J. Doe','wet below','2026-11-26 22:33:17.843450',NULL,NULL,NULL);
INSERT INTO "decision" VALUES(2,2,'ruled_out','J. Doe','','2026-11-26 22:33:17.864520',NULL,NULL,NULL);
INSERT INTO "decision" VALUES(3,3,'cannot_tell','R. Roe','','2026-11-26 22:33:18.002349',NULL,NULL,NULL);
INSERT INTO "decision" VALUES(4,3,'ruled_out','R. Roe','a reflector','2026-11-26 22:33:18.037871',3,NULL,NULL);
INSERT INTO "decision" VALUES(5,3,'cannot_tell','R. Roe','','2026-11-26 22:33:18.058149',4,4,NULL);
INSERT INTO "decision" VALUES(6,7,'confirmed','R. Roe','by hand','2026-11-26 22:33:18.097494',NULL,NULL,NULL);
CREATE TABLE edition (
	id INTEGER NOT NULL, 
	lesson INTEGER NOT NULL, 
	title VARCHAR NOT NULL, 
	opening TEXT NOT NULL, 
	steps TEXT NOT NULL, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_edition PRIMARY KEY (id), 
	CONSTRAINT fk_edition_lesson FOREIGN KEY(lesson) REFERENCES lesson (id)
);
INSERT INTO "edition" VALUES(1,1,'First week','Gloves on.','[{"example": 1, "words": "Look below the nut."}]','Mo','2026-11-26 22:33:18.390784');
CREATE TABLE example (
	id INTEGER NOT NULL, 
	photo VARCHAR NOT NULL, 
	candidate INTEGER, 
	CONSTRAINT pk_example PRIMARY KEY (id), 
	CONSTRAINT fk_example_photo FOREIGN KEY(photo) REFERENCES photo (id), 
	CONSTRAINT uq_example_candidate UNIQUE (candidate), 
	CONSTRAINT fk_example_candidate FOREIGN KEY(candidate) REFERENCES candidate (id)
);
INSERT INTO "example" VALUES(1,'HrZu5E8HF5gsxN8vNUOcFg',1);
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
CREATE TABLE lease (
	photo VARCHAR NOT NULL, 
	holder VARCHAR NOT NULL, 
	"by" VARCHAR NOT NULL, 
	until DATETIME NOT NULL, 
	CONSTRAINT pk_lease PRIMARY KEY (photo), 
	CONSTRAINT fk_lease_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
INSERT INTO "lease" VALUES('HrZu5E8HF5gsxN8vNUOcFg','A','J. Doe','2026-11-26 22:43:22.012220');
CREATE TABLE lesson (
	id INTEGER NOT NULL, 
	CONSTRAINT pk_lesson PRIMARY KEY (id)
);
INSERT INTO "lesson" VALUES(1);
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
INSERT INTO "logbook" VALUES(1,'placed',1,1,'nrtgvkE3zXDRLXVvXhLgCw',NULL,'{"axle": 2, "side": "left", "component": "torque rod"}','J. Doe','2026-11-26 22:33:18.237837',NULL);
INSERT INTO "logbook" VALUES(2,'follow_up',NULL,NULL,NULL,1,'{"say": "replace the bushing"}','J. Doe','2026-11-26 22:33:18.261649',NULL);
CREATE TABLE look (
	photo VARCHAR NOT NULL, 
	version INTEGER NOT NULL, 
	places BLOB NOT NULL, 
	vectors BLOB NOT NULL, 
	CONSTRAINT pk_look PRIMARY KEY (photo), 
	CONSTRAINT fk_look_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
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
	added_at DATETIME NOT NULL, size BIGINT, likeness VARCHAR, 
	CONSTRAINT pk_photo PRIMARY KEY (id), 
	CONSTRAINT uq_photo_sha256 UNIQUE (sha256), 
	CONSTRAINT fk_photo_visit FOREIGN KEY(visit) REFERENCES visit (id), 
	CONSTRAINT fk_photo_position FOREIGN KEY(position) REFERENCES position (id)
);
INSERT INTO "photo" VALUES('HrZu5E8HF5gsxN8vNUOcFg','b3fd25d9a91bb241a2dfdc5b55c40bed8f44ce6e10f66e87b585f14261e930f7','IMG_0.png','b3/b3fd25d9a91bb241a2dfdc5b55c40bed8f44ce6e10f66e87b585f14261e930f7.png',32,24,NULL,NULL,NULL,'2026-11-26 22:33:17.009524',2381,NULL);
INSERT INTO "photo" VALUES('nrtgvkE3zXDRLXVvXhLgCw','35d60de4454c6fbfdde40c097eb20ebe80163d02b1b837db0e8c7ec45a7b665a','IMG_1.png','35/35d60de4454c6fbfdde40c097eb20ebe80163d02b1b837db0e8c7ec45a7b665a.png',32,24,NULL,1,1,'2026-11-26 22:33:17.308465',2370,NULL);
INSERT INTO "photo" VALUES('AGRpf43wsjJ2WcYHiTSpCA','325432ddf45ed2c4202ff5a056b8936b6748d90871c1dcff78c9f8765204678e','IMG_2.png','32/325432ddf45ed2c4202ff5a056b8936b6748d90871c1dcff78c9f8765204678e.png',32,24,NULL,1,NULL,'2026-11-26 22:33:17.376177',2378,NULL);
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
CREATE TABLE quiz (
	id INTEGER NOT NULL, 
	token VARCHAR NOT NULL, 
	title VARCHAR NOT NULL, 
	seed INTEGER NOT NULL, 
	items TEXT NOT NULL, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_quiz PRIMARY KEY (id), 
	CONSTRAINT uq_quiz_token UNIQUE (token)
);
INSERT INTO "quiz" VALUES(1,'QNtrWTQY0NllqlL_d-6bwA','May',7,'[{"photo": "HrZu5E8HF5gsxN8vNUOcFg", "width": 32, "height": 24, "evidence": [{"cue": "rust_trail", "box": [2.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "say": "A run", "grade": "faint", "source": "engine", "fastener": 1}], "look_alikes": [{"cue": "gap", "box": [4.0, 3.0, 8.0, 6.0], "outline": [[2.0, 3.0], [10.0, 3.0], [6.0, 9.0]], "say": "run of rust, 3.2 nut radii long", "grade": "moderate", "source": "engine", "fastener": 1}], "unsettled": []}]','Mo','2026-11-26 22:33:21.881720');
CREATE TABLE screening (
	id INTEGER NOT NULL, 
	photo VARCHAR NOT NULL, 
	engine VARCHAR NOT NULL, 
	priority FLOAT NOT NULL, 
	top_cue VARCHAR, 
	usable BOOLEAN NOT NULL, 
	record TEXT NOT NULL, 
	screened_at DATETIME NOT NULL, problems INTEGER DEFAULT '0' NOT NULL, fasteners INTEGER DEFAULT '0' NOT NULL, 
	CONSTRAINT pk_screening PRIMARY KEY (id), 
	CONSTRAINT fk_screening_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
INSERT INTO "screening" VALUES(1,'HrZu5E8HF5gsxN8vNUOcFg','0.1.0',0.9,'rust_trail',1,'{"schema":"visual-aid/screening/1","engine":"0.1.0","photo":{"name":"IMG_0.png","path":"","sha256":"b3fd25d9a91bb241a2dfdc5b55c40bed8f44ce6e10f66e87b585f14261e930f7","width":32,"height":24,"taken":null},"quality":{"usable":true,"problems":[]},"fasteners":[{"id":1,"kind":"hex_nut","cx":16.0,"cy":12.0,"radius":5.0,"angle":null,"tilt":null,"score":1.0,"group":null}],"candidates":[{"id":1,"cue":"rust_trail","fastener":1,"box":[2.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.9,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"},{"id":2,"cue":"gap","fastener":1,"box":[4.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.4,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"}],"not_judged":[{"cue":"clean_outlier","why":"fewer than three like nuts"}],"priority":0.9,"seconds":0.0,"error":null}','2026-11-26 22:33:17.054940',0,1);
INSERT INTO "screening" VALUES(2,'nrtgvkE3zXDRLXVvXhLgCw','0.1.0',0.85,'rust_trail',1,'{"schema":"visual-aid/screening/1","engine":"0.1.0","photo":{"name":"IMG_1.png","path":"","sha256":"35d60de4454c6fbfdde40c097eb20ebe80163d02b1b837db0e8c7ec45a7b665a","width":32,"height":24,"taken":null},"quality":{"usable":true,"problems":[]},"fasteners":[{"id":1,"kind":"hex_nut","cx":16.0,"cy":12.0,"radius":5.0,"angle":null,"tilt":null,"score":1.0,"group":null}],"candidates":[{"id":1,"cue":"rust_trail","fastener":1,"box":[2.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.85,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"},{"id":2,"cue":"gap","fastener":1,"box":[4.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.4,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"}],"not_judged":[{"cue":"clean_outlier","why":"fewer than three like nuts"}],"priority":0.85,"seconds":0.0,"error":null}','2026-11-26 22:33:17.310877',0,1);
INSERT INTO "screening" VALUES(3,'AGRpf43wsjJ2WcYHiTSpCA','0.1.0',0.8,'rust_trail',0,'{"schema":"visual-aid/screening/1","engine":"0.1.0","photo":{"name":"IMG_2.png","path":"","sha256":"325432ddf45ed2c4202ff5a056b8936b6748d90871c1dcff78c9f8765204678e","width":32,"height":24,"taken":null},"quality":{"usable":false,"problems":[{"code":"dark","value":0.1,"limit":0.2,"say":"too dark: use a lamp"}]},"fasteners":[{"id":1,"kind":"hex_nut","cx":16.0,"cy":12.0,"radius":5.0,"angle":null,"tilt":null,"score":1.0,"group":null}],"candidates":[{"id":1,"cue":"rust_trail","fastener":1,"box":[2.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.8,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"},{"id":2,"cue":"gap","fastener":1,"box":[4.0,3.0,8.0,6.0],"outline":[[2.0,3.0],[10.0,3.0],[6.0,9.0]],"score":0.4,"measures":{"length_r":3.2},"reason":"run of rust, 3.2 nut radii long"}],"not_judged":[{"cue":"clean_outlier","why":"fewer than three like nuts"}],"priority":0.8,"seconds":0.0,"error":null}','2026-11-26 22:33:17.398639',1,1);
CREATE TABLE sitting (
	id INTEGER NOT NULL, 
	token VARCHAR NOT NULL, 
	quiz INTEGER NOT NULL, 
	trainee VARCHAR NOT NULL, 
	crew VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_sitting PRIMARY KEY (id), 
	CONSTRAINT uq_sitting_token UNIQUE (token), 
	CONSTRAINT fk_sitting_quiz FOREIGN KEY(quiz) REFERENCES quiz (id)
);
INSERT INTO "sitting" VALUES(1,'148fvUMZvOCpjU27LNwp_g',1,'Ada','Night','2026-11-26 22:33:21.949240');
CREATE TABLE source (
	url VARCHAR NOT NULL, 
	stamp VARCHAR NOT NULL, 
	photo VARCHAR, 
	trouble TEXT, 
	CONSTRAINT pk_source PRIMARY KEY (url), 
	CONSTRAINT fk_source_photo FOREIGN KEY(photo) REFERENCES photo (id)
);
CREATE TABLE standing (
	photo VARCHAR NOT NULL, 
	screening INTEGER NOT NULL, 
	stage VARCHAR NOT NULL, 
	priority FLOAT NOT NULL, 
	quality VARCHAR NOT NULL, 
	cues VARCHAR NOT NULL, 
	undecided INTEGER NOT NULL, 
	weak INTEGER NOT NULL, 
	decided INTEGER NOT NULL, 
	findings INTEGER NOT NULL, 
	added_at DATETIME NOT NULL, 
	best VARCHAR, 
	CONSTRAINT pk_standing PRIMARY KEY (photo), 
	CONSTRAINT fk_standing_photo FOREIGN KEY(photo) REFERENCES photo (id), 
	CONSTRAINT fk_standing_screening FOREIGN KEY(screening) REFERENCES screening (id), 
	CONSTRAINT fk_standing_best FOREIGN KEY(best) REFERENCES photo (id)
);
INSERT INTO "standing" VALUES('HrZu5E8HF5gsxN8vNUOcFg',1,'decided',0.9,'good',' gap  rust_trail ',0,0,2,1,'2026-11-26 22:33:17.009524',NULL);
INSERT INTO "standing" VALUES('nrtgvkE3zXDRLXVvXhLgCw',2,'to_decide',0.85,'good',' gap  rust_trail ',1,0,1,0,'2026-11-26 22:33:17.308465',NULL);
INSERT INTO "standing" VALUES('AGRpf43wsjJ2WcYHiTSpCA',3,'to_decide',0.8,'unusable',' gap  missing_nut  rust_trail ',2,0,1,1,'2026-11-26 22:33:17.376177',NULL);
CREATE TABLE tuning (
	id INTEGER NOT NULL, 
	threshold FLOAT NOT NULL, 
	calibration INTEGER, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_tuning PRIMARY KEY (id), 
	CONSTRAINT fk_tuning_calibration FOREIGN KEY(calibration) REFERENCES calibration (id)
);
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
CREATE TABLE wording (
	id INTEGER NOT NULL, 
	example INTEGER NOT NULL, 
	grade VARCHAR NOT NULL, 
	caption TEXT NOT NULL, 
	hand_check TEXT NOT NULL, 
	tags TEXT NOT NULL, 
	kept BOOLEAN NOT NULL, 
	"by" VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_wording PRIMARY KEY (id), 
	CONSTRAINT ck_wording_grade CHECK (grade IN ('faint', 'moderate', 'obvious')), 
	CONSTRAINT fk_wording_example FOREIGN KEY(example) REFERENCES example (id)
);
INSERT INTO "wording" VALUES(1,1,'faint','A run','Turn it by hand','["wheel end"]',1,'Mo','2026-11-26 22:33:18.290607');
CREATE INDEX ix_visit_unit_date ON visit (unit, date);
CREATE INDEX ix_photo_position ON photo (position);
CREATE INDEX ix_photo_visit ON photo (visit);
CREATE INDEX ix_screening_priority ON screening (priority);
CREATE INDEX ix_screening_photo ON screening (photo);
CREATE INDEX ix_screening_top_cue ON screening (top_cue);
CREATE INDEX ix_screening_engine ON screening (engine);
CREATE INDEX ix_candidate_photo ON candidate (photo);
CREATE INDEX ix_candidate_cue ON candidate (cue);
CREATE INDEX ix_flagged_candidate ON flagged (candidate);
CREATE INDEX ix_decision_candidate_id ON decision (candidate, id);
CREATE INDEX ix_logbook_photo ON logbook (photo);
CREATE INDEX ix_logbook_candidate ON logbook (candidate);
CREATE INDEX ix_logbook_visit ON logbook (visit);
CREATE INDEX ix_logbook_kind ON logbook (kind);
CREATE INDEX ix_logbook_unit ON logbook (unit);
CREATE INDEX ix_blur_photo ON blur (photo);
CREATE INDEX ix_example_photo ON example (photo);
CREATE INDEX ix_wording_example_id ON wording (example, id);
CREATE INDEX ix_edition_lesson_id ON edition (lesson, id);
CREATE INDEX ix_sitting_quiz ON sitting (quiz);
CREATE INDEX ix_sitting_trainee ON sitting (trainee);
CREATE INDEX ix_photo_size ON photo (size);
CREATE INDEX ix_decision_bulk ON decision (bulk);
CREATE INDEX ix_source_photo ON source (photo);
CREATE INDEX ix_standing_best ON standing (best);
CREATE INDEX ix_standing_stage_priority_added_at_photo ON standing (stage, priority, added_at, photo);
CREATE INDEX ix_comparison_after_before ON comparison ("after", "before");
CREATE INDEX ix_changed_candidate ON changed (candidate);
COMMIT;

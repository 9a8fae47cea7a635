BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE draft_history (
	draft_id VARCHAR NOT NULL, 
	revision INTEGER NOT NULL, 
	title TEXT NOT NULL, 
	digest VARCHAR NOT NULL, 
	writer VARCHAR NOT NULL, 
	kept_at DATETIME NOT NULL, 
	overtaken BOOLEAN NOT NULL, 
	entries TEXT NOT NULL, 
	PRIMARY KEY (draft_id, revision), 
	FOREIGN KEY(draft_id) REFERENCES drafts (id) ON DELETE CASCADE
);
INSERT INTO "draft_history" VALUES('kept-in-0001-open-b',1,'Pebble – 金 👩🏽‍🔬','d2cdfd9daaeba605da6f9a69f439fb6d8a5169fefb020d835a4dfac7c18cdc66','tab-a-of-layout-0001','2026-01-03 00:00:00.000000',0,'[["note","1"]]');
INSERT INTO "draft_history" VALUES('kept-in-0001-open-b',2,'Pebble – 金 👩🏽‍🔬','5caba2e1ab5c11a1326ef085c37cf3451876bc4ee727564c4d6730ae02ef2bca','tab-a-of-layout-0001','2026-01-03 00:00:00.000000',1,'[["note","2"]]');
CREATE TABLE drafts (
	id VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	title TEXT NOT NULL, 
	revision INTEGER NOT NULL, 
	writer VARCHAR NOT NULL, 
	created_at DATETIME NOT NULL, 
	changed_at DATETIME NOT NULL, 
	closed_at DATETIME, 
	entries TEXT NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "drafts" VALUES('kept-in-0001-open-a','ask','Stone',1,'','2026-01-02 00:00:00.000000','2026-01-02 00:00:00.000000',NULL,'[["title","Stone"]]');
INSERT INTO "drafts" VALUES('kept-in-0001-open-b','quote','Pebble – 金 👩🏽‍🔬',3,'tab-b-of-layout-0001','2026-01-03 00:00:00.000000','2026-01-04 00:00:00.000000',NULL,'[["note","it''s\n3"],["note",""],["title","Pebble – 金 👩🏽‍🔬"]]');
INSERT INTO "drafts" VALUES('kept-in-0001-closed','quote','Done',1,'','2026-01-01 00:00:00.000000','2026-01-01 00:00:00.000000','2026-01-05 00:00:00.123456','[["title","Done"]]');
CREATE INDEX drafts_by_change ON drafts (closed_at, changed_at, created_at, id);
COMMIT;

BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0004');
CREATE TABLE book_versions (
	"key" INTEGER NOT NULL, 
	book VARCHAR NOT NULL, 
	entry VARCHAR NOT NULL, 
	version INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	currency VARCHAR NOT NULL, 
	source TEXT NOT NULL, 
	kept_at DATETIME NOT NULL, 
	retired_at DATETIME, 
	terms TEXT NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "book_versions" VALUES(1,'refiners','vvGnJQe_c7wXB71L4aUvyw',1,'Demo refiner – 金','USD','their letter, invented','2026-01-07 08:00:00.123456',NULL,'{"name":"Demo refiner – 金","payable":[{"frac":0.95,"from_ozt":0.0}]}');
INSERT INTO "book_versions" VALUES(2,'refiners','vvGnJQe_c7wXB71L4aUvyw',2,'Demo refiner – 金','USD','','2026-01-07 08:00:00.123456',NULL,'{"assay_fee":120.0,"name":"Demo refiner – 金","payable":[{"frac":0.96,"from_ozt":0.0}]}');
INSERT INTO "book_versions" VALUES(3,'rocks','UN4QI50t3QCr8620K6dCgg',1,'Ledge quartz','','weighed here, it''s so','2026-01-07 08:00:00.123456',NULL,'{"density_g_cm3":{"high":2.65,"likely":2.62,"low":2.6}}');
INSERT INTO "book_versions" VALUES(4,'rocks','UN4QI50t3QCr8620K6dCgg',2,'Ledge quartz','','weighed here, it''s so','2026-01-07 08:00:00.123456','2026-01-07 08:00:00.123456','{"density_g_cm3":{"high":2.65,"likely":2.62,"low":2.6}}');
INSERT INTO "book_versions" VALUES(5,'sales','PJV4ckyu_4NtVPFH9sWpQQ',1,'','EUR','','2026-01-07 08:00:00.123456',NULL,'{"date":"2026-01-02","fine_g":9.5,"price":1200.0,"spot":3500.0}');
INSERT INTO "book_versions" VALUES(6,'tests','isx10LOPOVxrDsFjYyc4gg',1,'chip','USD','','2026-01-07 08:00:00.123456',NULL,'{"cost":15.0,"kind":"chip"}');
CREATE TABLE contents (
	sheet INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	content BLOB NOT NULL, 
	PRIMARY KEY (sheet, revision, kind), 
	FOREIGN KEY(sheet, revision) REFERENCES revisions (sheet, revision)
);
INSERT INTO "contents" VALUES(1,1,'request',X'7B227469746C65223A22506562626C65227D');
INSERT INTO "contents" VALUES(1,1,'result',X'7B226472617773223A31363338347D');
INSERT INTO "contents" VALUES(1,1,'seller',X'7B226E756D626572223A22323032362D30303031222C226F66666572223A22343030302E3030227D');
INSERT INTO "contents" VALUES(1,1,'house',X'7B22706C616E223A6E756C6C7D');
INSERT INTO "contents" VALUES(1,1,'seller_pdf',X'255044462073656C6C657200FF20323032362D30303031');
INSERT INTO "contents" VALUES(1,1,'house_pdf',X'2550444620686F75736500');
INSERT INTO "contents" VALUES(1,2,'request',X'7B227469746C65223A22506562626C65227D');
INSERT INTO "contents" VALUES(1,2,'result',X'7B226472617773223A31363338347D');
INSERT INTO "contents" VALUES(1,2,'seller',X'7B226E756D626572223A22323032362D30303031222C226F66666572223A22343130302E3030227D');
INSERT INTO "contents" VALUES(1,2,'house',X'7B22706C616E223A6E756C6C7D');
INSERT INTO "contents" VALUES(1,2,'seller_pdf',X'255044462073656C6C657200FF20323032362D30303031');
INSERT INTO "contents" VALUES(1,2,'house_pdf',X'2550444620686F75736500');
INSERT INTO "contents" VALUES(2,1,'request',X'7B227469746C65223A22506562626C65227D');
INSERT INTO "contents" VALUES(2,1,'result',X'7B226472617773223A31363338347D');
INSERT INTO "contents" VALUES(2,1,'seller',X'7B226E756D626572223A22323032362D30303032222C226F66666572223A223930302E3030227D');
INSERT INTO "contents" VALUES(2,1,'house',X'7B22706C616E223A6E756C6C7D');
INSERT INTO "contents" VALUES(2,1,'seller_pdf',X'255044462073656C6C657200FF20323032362D30303032');
INSERT INTO "contents" VALUES(2,1,'house_pdf',X'2550444620686F75736500');
INSERT INTO "contents" VALUES(4,1,'request',X'7B227469746C65223A22506562626C65227D');
INSERT INTO "contents" VALUES(4,1,'result',X'7B226472617773223A31363338347D');
INSERT INTO "contents" VALUES(4,1,'seller',X'7B226E756D626572223A22323032362D30303033222C226F66666572223A22352E35227D');
INSERT INTO "contents" VALUES(4,1,'house',X'7B22706C616E223A6E756C6C7D');
INSERT INTO "contents" VALUES(4,1,'seller_pdf',X'255044462073656C6C657200FF20323032362D30303033');
INSERT INTO "contents" VALUES(4,1,'house_pdf',X'2550444620686F75736500');
INSERT INTO "contents" VALUES(5,1,'request',X'7B227469746C65223A22506562626C65227D');
INSERT INTO "contents" VALUES(5,1,'result',X'7B226472617773223A31363338347D');
INSERT INTO "contents" VALUES(5,1,'seller',X'7B226E756D626572223A22323032372D30303031222C226F66666572223A2236227D');
INSERT INTO "contents" VALUES(5,1,'house',X'7B22706C616E223A6E756C6C7D');
INSERT INTO "contents" VALUES(5,1,'seller_pdf',X'255044462073656C6C657200FF20323032372D30303031');
INSERT INTO "contents" VALUES(5,1,'house_pdf',X'2550444620686F75736500');
CREATE TABLE deeds (
	"key" INTEGER NOT NULL, 
	sheet INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	at DATETIME NOT NULL, 
	note TEXT NOT NULL, 
	previous VARCHAR NOT NULL, 
	digest VARCHAR NOT NULL, 
	PRIMARY KEY ("key"), 
	FOREIGN KEY(sheet) REFERENCES sheets ("key")
);
INSERT INTO "deeds" VALUES(1,1,0,'written','2026-02-01 09:30:00.000000','','0000000000000000000000000000000000000000000000000000000000000000','c712032970501e6df194118de40d84a22d9534814c3c60474ccd82857933125b');
INSERT INTO "deeds" VALUES(2,1,1,'handed_over','2026-02-01 09:30:00.000000','','c712032970501e6df194118de40d84a22d9534814c3c60474ccd82857933125b','a47012814d537688e5c1bf95834ca2e9bffac7c9c9e3f09da50b9387f62a854c');
INSERT INTO "deeds" VALUES(3,1,1,'replaced','2026-02-02 09:30:00.000000','','a47012814d537688e5c1bf95834ca2e9bffac7c9c9e3f09da50b9387f62a854c','3540277ff019888869d2c3619280447adbd1ffc8482b1542af6c0ef70f27e292');
INSERT INTO "deeds" VALUES(4,1,2,'handed_over','2026-02-02 09:30:00.000000','','3540277ff019888869d2c3619280447adbd1ffc8482b1542af6c0ef70f27e292','ea0ebf605cae2f0976ee54588c65179f1890f0b0c785649f84c77f921de742e8');
INSERT INTO "deeds" VALUES(5,1,2,'agreed','2026-02-03 09:30:00.000000','','ea0ebf605cae2f0976ee54588c65179f1890f0b0c785649f84c77f921de742e8','e6807aaa25f5809c3293b37fa3ab140dd65eefe179308e9df5aed581741585bb');
INSERT INTO "deeds" VALUES(6,1,2,'settled','2026-02-21 09:30:00.000000','{"paid":"4100.00","days":18}','e6807aaa25f5809c3293b37fa3ab140dd65eefe179308e9df5aed581741585bb','68a16ddde0c32b8cfecdc76a2dbd70fb9565b0a3b107cfb2453a7b6b41e0d822');
INSERT INTO "deeds" VALUES(7,2,0,'written','2026-02-01 09:30:00.000000','','68a16ddde0c32b8cfecdc76a2dbd70fb9565b0a3b107cfb2453a7b6b41e0d822','1169d82aeb159d77c38a030560d3f6504c27ccf7898c0ee8e452d88b1e181dae');
INSERT INTO "deeds" VALUES(8,2,1,'handed_over','2026-02-04 09:30:00.000000','','1169d82aeb159d77c38a030560d3f6504c27ccf7898c0ee8e452d88b1e181dae','981cb84db95492633072697ccd050cbe9325c1918db2456c90e52fa9bb819d79');
INSERT INTO "deeds" VALUES(9,3,0,'written','2026-02-05 09:30:00.000000','','981cb84db95492633072697ccd050cbe9325c1918db2456c90e52fa9bb819d79','69f01738496b835f4eeb77bb693e2cd2f24f7fa1a1f1fcc1abe4e12fb7f1550d');
INSERT INTO "deeds" VALUES(10,4,0,'written','2026-02-05 09:30:00.000000','','69f01738496b835f4eeb77bb693e2cd2f24f7fa1a1f1fcc1abe4e12fb7f1550d','040a65869a79290d04b601e817ebe9db88b410f7b7930f00525224d9041aeb05');
INSERT INTO "deeds" VALUES(11,4,1,'handed_over','2026-02-05 09:30:00.000000','','040a65869a79290d04b601e817ebe9db88b410f7b7930f00525224d9041aeb05','cb64aef54db15c36abe5e7d0b584fdc6d01a0e05e27fd13aaa1e20dbfb0d7f51');
INSERT INTO "deeds" VALUES(12,4,1,'lapsed','2026-02-21 09:30:00.000000','','cb64aef54db15c36abe5e7d0b584fdc6d01a0e05e27fd13aaa1e20dbfb0d7f51','ca81b449bc414de4080b81717046f5b903195632f8eeb928c1098e98709e7e59');
INSERT INTO "deeds" VALUES(13,5,0,'written','2026-02-06 09:30:00.000000','','ca81b449bc414de4080b81717046f5b903195632f8eeb928c1098e98709e7e59','5be568e995c974cbcffb09c90ae2d9a9400517ee0cc069877c53fbed7a90f484');
INSERT INTO "deeds" VALUES(14,5,1,'handed_over','2027-01-07 09:30:00.000000','','5be568e995c974cbcffb09c90ae2d9a9400517ee0cc069877c53fbed7a90f484','340a660280ed4995d319978338d5a15ed0862e8b2b76ca42b429319ae84e8e95');
INSERT INTO "deeds" VALUES(15,5,1,'turned_down','2027-01-08 09:30:00.000000','','340a660280ed4995d319978338d5a15ed0862e8b2b76ca42b429319ae84e8e95','3f94a13d7e88fc101ca2c40daf02a943fb973d1328b923fd3c829a9a6b870951');
INSERT INTO "deeds" VALUES(16,5,1,'reference_erased','2027-01-09 09:30:00.000000','','3f94a13d7e88fc101ca2c40daf02a943fb973d1328b923fd3c829a9a6b870951','fc5bab414e409c742b1058239c461e32f66583edc1ac68107cbd7ac356cf3dd5');
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
CREATE TABLE photographs (
	digest VARCHAR NOT NULL, 
	width INTEGER NOT NULL, 
	height INTEGER NOT NULL, 
	added_at DATETIME NOT NULL, 
	jpeg BLOB NOT NULL, 
	PRIMARY KEY (digest)
);
INSERT INTO "photographs" VALUES('e7148bf9f7969f431d745fda7c637494247a1a48626207a46f79a9c331573dba',640,480,'2026-02-01 09:30:00.000000',X'FFD82070686F746F67726170682031');
INSERT INTO "photographs" VALUES('9f5d1aff784bae8e30716984b2699444ea4db4cdcb9dca3c7d89a2cbabdb3cc4',640,480,'2026-02-01 09:30:00.000000',X'FFD82070686F746F67726170682032');
CREATE TABLE prices (
	"key" INTEGER NOT NULL, 
	metal VARCHAR NOT NULL, 
	currency VARCHAR NOT NULL, 
	unit VARCHAR NOT NULL, 
	price FLOAT NOT NULL, 
	seen_at DATETIME NOT NULL, 
	kept_at DATETIME NOT NULL, 
	is_fed BOOLEAN NOT NULL, 
	source TEXT NOT NULL, 
	address TEXT NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "prices" VALUES(1,'gold','USD','ozt',3912.4,'2026-01-06 09:30:00.123456','2026-01-06 09:30:00.123456',1,'Desk «1»','https://prices.example/p');
INSERT INTO "prices" VALUES(2,'silver','EUR','tola',17.25,'2026-01-06 09:30:00.123456','2026-01-06 09:30:00.123456',0,'entered by hand – 金','');
INSERT INTO "prices" VALUES(3,'exchange_rate','EUR','USD',0.92,'2026-01-06 09:30:00.123456','2026-01-06 09:30:00.123456',0,'','');
CREATE TABLE revision_books (
	sheet INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	place VARCHAR NOT NULL, 
	entry VARCHAR NOT NULL, 
	version INTEGER NOT NULL, 
	PRIMARY KEY (sheet, revision, place), 
	FOREIGN KEY(sheet, revision) REFERENCES revisions (sheet, revision), 
	FOREIGN KEY(entry, version) REFERENCES book_versions (entry, version)
);
INSERT INTO "revision_books" VALUES(1,2,'refiner','vvGnJQe_c7wXB71L4aUvyw',2);
CREATE TABLE revision_photographs (
	sheet INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	digest VARCHAR NOT NULL, 
	PRIMARY KEY (sheet, revision, place), 
	FOREIGN KEY(sheet, revision) REFERENCES revisions (sheet, revision), 
	FOREIGN KEY(digest) REFERENCES photographs (digest)
);
INSERT INTO "revision_photographs" VALUES(1,1,1,'e7148bf9f7969f431d745fda7c637494247a1a48626207a46f79a9c331573dba');
INSERT INTO "revision_photographs" VALUES(1,1,2,'9f5d1aff784bae8e30716984b2699444ea4db4cdcb9dca3c7d89a2cbabdb3cc4');
INSERT INTO "revision_photographs" VALUES(1,2,1,'9f5d1aff784bae8e30716984b2699444ea4db4cdcb9dca3c7d89a2cbabdb3cc4');
CREATE TABLE revisions (
	sheet INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	number VARCHAR NOT NULL, 
	handed_over_at DATETIME NOT NULL, 
	title TEXT NOT NULL, 
	description TEXT NOT NULL, 
	method_version VARCHAR NOT NULL, 
	seed INTEGER NOT NULL, 
	currency VARCHAR NOT NULL, 
	offer VARCHAR NOT NULL, 
	reason TEXT NOT NULL, 
	gold_price VARCHAR NOT NULL, 
	silver_price VARCHAR, 
	spot_unit VARCHAR NOT NULL, 
	price_seen_at DATETIME, 
	price_source TEXT NOT NULL, 
	valid_until DATETIME NOT NULL, 
	time_zone VARCHAR NOT NULL, 
	spot_move_frac VARCHAR, 
	stale_price_confirmation TEXT NOT NULL, 
	notes TEXT NOT NULL, 
	seller_digest VARCHAR NOT NULL, 
	PRIMARY KEY (sheet, revision), 
	FOREIGN KEY(sheet) REFERENCES sheets ("key")
);
INSERT INTO "revisions" VALUES(1,1,'2026-0001','2026-02-01 09:30:00.000000','Pebble – 金 👩🏽‍🔬','White quartz,
“leaf” gold it''s','1-100-2.4-1.17',20260315,'USD','4000.00','','4100.00','48.00','ozt','2026-02-01 08:30:00.000000','typed','2026-02-04 09:30:00.000000','America/Denver','0.03','','["a glyph was replaced"]','1b898c821086b80f3e49e44a2f2cb1b7273b40ea56d518f0f46494625f6a62e2');
INSERT INTO "revisions" VALUES(1,2,'2026-0001','2026-02-02 09:30:00.000000','Pebble – 金 👩🏽‍🔬','White quartz,
“leaf” gold it''s','1-100-2.4-1.17',20260315,'USD','4100.00','a regular','4100.00','48.00','ozt','2026-02-02 08:30:00.000000','typed','2026-02-05 09:30:00.000000','America/Denver','0.03','seen','["a glyph was replaced"]','0dd5f3b24d94bd6272595fb2a4345275e590b72c36bcc5cbdf62aaea906a5891');
INSERT INTO "revisions" VALUES(2,1,'2026-0002','2026-02-04 09:30:00.000000','Pebble – 金 👩🏽‍🔬','White quartz,
“leaf” gold it''s','1-100-2.4-1.17',20260315,'USD','900.00','','4100.00',NULL,'ozt','2026-02-04 08:30:00.000000','typed','2026-02-07 09:30:00.000000','America/Denver',NULL,'','["a glyph was replaced"]','56f07a5bbe25658e30cb4daf139783b045be5fdda2cbf69264ba8b7da285f626');
INSERT INTO "revisions" VALUES(4,1,'2026-0003','2026-02-05 09:30:00.000000','Pebble – 金 👩🏽‍🔬','White quartz,
“leaf” gold it''s','1-100-2.4-1.17',20260315,'USD','5.5','','4100.00','48.00','ozt','2026-02-05 08:30:00.000000','typed','2026-02-08 09:30:00.000000','America/Denver','0.03','','["a glyph was replaced"]','ed88e7e5f5b2cdeabaf16b1e6399283fa283439ccf8b7e562b28899138b1da6c');
INSERT INTO "revisions" VALUES(5,1,'2027-0001','2027-01-07 09:30:00.000000','Pebble – 金 👩🏽‍🔬','White quartz,
“leaf” gold it''s','1-100-2.4-1.17',20260315,'USD','6','','4100.00','48.00','ozt','2027-01-07 08:30:00.000000','typed','2027-01-10 09:30:00.000000','America/Denver','0.03','','["a glyph was replaced"]','dd95a9d5e2e79268189253b3da1c4297ca439cf2e64b8cd80be9caf1886cf0c8');
CREATE TABLE seller_references (
	sheet INTEGER NOT NULL, 
	reference TEXT NOT NULL, 
	PRIMARY KEY (sheet), 
	FOREIGN KEY(sheet) REFERENCES sheets ("key")
);
INSERT INTO "seller_references" VALUES(1,'counter book 114');
INSERT INTO "seller_references" VALUES(3,'book 115');
CREATE TABLE sheet_entries (
	sheet INTEGER NOT NULL, 
	changed_at DATETIME NOT NULL, 
	entries TEXT NOT NULL, 
	PRIMARY KEY (sheet), 
	FOREIGN KEY(sheet) REFERENCES sheets ("key")
);
INSERT INTO "sheet_entries" VALUES(1,'2026-02-01 09:30:00.000000','[["offer","4,000"],["reason","it''s\nso"]]');
INSERT INTO "sheet_entries" VALUES(2,'2026-02-01 09:30:00.000000','[]');
INSERT INTO "sheet_entries" VALUES(3,'2026-02-05 09:30:00.000000','[["offer","1"]]');
INSERT INTO "sheet_entries" VALUES(4,'2026-02-05 09:30:00.000000','[]');
INSERT INTO "sheet_entries" VALUES(5,'2026-02-06 09:30:00.000000','[]');
CREATE TABLE sheet_photographs (
	sheet INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	digest VARCHAR NOT NULL, 
	PRIMARY KEY (sheet, place), 
	FOREIGN KEY(sheet) REFERENCES sheets ("key"), 
	FOREIGN KEY(digest) REFERENCES photographs (digest)
);
INSERT INTO "sheet_photographs" VALUES(1,1,'9f5d1aff784bae8e30716984b2699444ea4db4cdcb9dca3c7d89a2cbabdb3cc4');
CREATE TABLE sheet_texts (
	sheet INTEGER NOT NULL, 
	words TEXT NOT NULL, 
	description TEXT NOT NULL, 
	PRIMARY KEY (sheet), 
	FOREIGN KEY(sheet) REFERENCES sheets ("key")
);
INSERT INTO "sheet_texts" VALUES(1,'2026-0001 pebble 金 👩🏽🔬 counter book 114 white quartz leaf gold it s','White quartz,
“leaf” gold it''s');
INSERT INTO "sheet_texts" VALUES(2,'2026-0002 pebble 金 👩🏽🔬 white quartz leaf gold it s','White quartz,
“leaf” gold it''s');
INSERT INTO "sheet_texts" VALUES(3,'written book 115','');
INSERT INTO "sheet_texts" VALUES(4,'2026-0003 pebble 金 👩🏽🔬 white quartz leaf gold it s','White quartz,
“leaf” gold it''s');
INSERT INTO "sheet_texts" VALUES(5,'2027-0001 pebble 金 👩🏽🔬 white quartz leaf gold it s','White quartz,
“leaf” gold it''s');
CREATE TABLE sheets (
	"key" INTEGER NOT NULL, 
	id VARCHAR NOT NULL, 
	draft_id VARCHAR NOT NULL, 
	year INTEGER, 
	running INTEGER, 
	number VARCHAR, 
	number_order INTEGER NOT NULL, 
	revision INTEGER NOT NULL, 
	state VARCHAR NOT NULL, 
	title TEXT NOT NULL, 
	title_order TEXT NOT NULL, 
	written_at DATETIME NOT NULL, 
	changed_at DATETIME NOT NULL, 
	dated_at DATETIME NOT NULL, 
	handed_over_at DATETIME, 
	offer VARCHAR, 
	offer_order FLOAT NOT NULL, 
	currency VARCHAR, 
	valid_until DATETIME, 
	time_zone VARCHAR, 
	gold_low_per_g FLOAT, 
	gold_high_per_g FLOAT, 
	PRIMARY KEY ("key")
);
INSERT INTO "sheets" VALUES(1,'kept-in-0002-sheet-1','kept-in-0001-open-b',2026,1,'2026-0001',20260000000001,2,'settled','Pebble – 金 👩🏽‍🔬','pebble 金 👩🏽🔬','2026-02-01 09:30:00.000000','2026-02-21 09:30:00.000000','2026-02-02 09:30:00.000000','2026-02-02 09:30:00.000000','4100.00',4100.0,'USD','2026-02-05 09:30:00.000000','America/Denver',1.27863519103433475264e+02,1.3577260275931595856e+02);
INSERT INTO "sheets" VALUES(2,'kept-in-0002-sheet-2','kept-in-0001-closed',2026,2,'2026-0002',20260000000002,1,'handed_over','Pebble – 金 👩🏽‍🔬','pebble 金 👩🏽🔬','2026-02-01 09:30:00.000000','2026-02-04 09:30:00.000000','2026-02-04 09:30:00.000000','2026-02-04 09:30:00.000000','900.00',900.0,'USD','2026-02-07 09:30:00.000000','America/Denver',NULL,NULL);
INSERT INTO "sheets" VALUES(3,'kept-in-0002-sheet-3','kept-in-0001-closed',NULL,NULL,NULL,1000000000000000,0,'written','Written','written','2026-02-05 09:30:00.000000','2026-02-05 09:30:00.000000','2026-02-05 09:30:00.000000',NULL,NULL,-1.0,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "sheets" VALUES(4,'kept-in-0002-sheet-4','kept-in-0001-open-a',2026,3,'2026-0003',20260000000003,1,'lapsed','Pebble – 金 👩🏽‍🔬','pebble 金 👩🏽🔬','2026-02-05 09:30:00.000000','2026-02-21 09:30:00.000000','2026-02-05 09:30:00.000000','2026-02-05 09:30:00.000000','5.5',5.5,'USD','2026-02-08 09:30:00.000000','America/Denver',1.27863519103433475264e+02,1.3577260275931595856e+02);
INSERT INTO "sheets" VALUES(5,'kept-in-0002-sheet-5','kept-in-0001-open-a',2027,1,'2027-0001',20270000000001,1,'turned_down','Pebble – 金 👩🏽‍🔬','pebble 金 👩🏽🔬','2026-02-06 09:30:00.000000','2027-01-08 09:30:00.000000','2027-01-07 09:30:00.000000','2027-01-07 09:30:00.000000','6',6.0,'USD','2027-01-10 09:30:00.000000','America/Denver',1.27863519103433475264e+02,1.3577260275931595856e+02);
CREATE INDEX drafts_by_change ON drafts (closed_at, changed_at, created_at, id);
CREATE UNIQUE INDEX sheets_by_id ON sheets (id);
CREATE UNIQUE INDEX sheets_by_number ON sheets (number);
CREATE UNIQUE INDEX sheets_by_running ON sheets (year, running);
CREATE INDEX sheets_by_draft ON sheets (draft_id);
CREATE UNIQUE INDEX sheets_one_written ON sheets (draft_id) WHERE revision = 0;
CREATE INDEX sheets_by_state ON sheets (state, valid_until, dated_at, currency, gold_low_per_g, gold_high_per_g);
CREATE INDEX sheets_in_order_of_date ON sheets (dated_at, "key", state, valid_until, currency, gold_low_per_g, gold_high_per_g);
CREATE INDEX sheets_in_order_of_number ON sheets (number_order, "key", state, valid_until, dated_at, currency, gold_low_per_g, gold_high_per_g);
CREATE INDEX sheets_in_order_of_title ON sheets (title_order, "key", state, valid_until, dated_at, currency, gold_low_per_g, gold_high_per_g);
CREATE INDEX sheets_in_order_of_offer ON sheets (offer_order, "key", state, valid_until, dated_at, currency, gold_low_per_g, gold_high_per_g);
CREATE INDEX revisions_by_seller_digest ON revisions (seller_digest);
CREATE INDEX deeds_by_sheet ON deeds (sheet, revision, kind);
CREATE UNIQUE INDEX deeds_by_digest ON deeds (digest);
CREATE INDEX sheet_photographs_by_digest ON sheet_photographs (digest);
CREATE INDEX revision_photographs_by_digest ON revision_photographs (digest);
CREATE TRIGGER sheets_begin BEFORE INSERT ON sheets
    WHEN NEW.number IS NOT NULL OR NEW.revision != 0
        OR EXISTS (SELECT 1 FROM sheets WHERE key = NEW.key OR id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'a sheet begins without a number, and never in place of another'); END;
CREATE TRIGGER sheets_stay BEFORE UPDATE ON sheets
    WHEN NEW.key IS NOT OLD.key OR NEW.id IS NOT OLD.id OR NEW.draft_id IS NOT OLD.draft_id
        OR NEW.written_at IS NOT OLD.written_at OR NEW.revision < OLD.revision
        OR (OLD.number IS NOT NULL AND (NEW.number IS NOT OLD.number OR NEW.year IS NOT OLD.year
            OR NEW.running IS NOT OLD.running OR NEW.number_order IS NOT OLD.number_order))
    BEGIN SELECT RAISE(ABORT, 'what a sheet is and its number never change'); END;
CREATE TRIGGER sheets_numbered BEFORE UPDATE ON sheets
    WHEN OLD.number IS NULL AND (NEW.number IS NOT NULL OR NEW.year IS NOT NULL OR NEW.running IS NOT NULL)
        AND (NEW.number IS NULL OR NEW.year IS NULL
            OR EXISTS (SELECT 1 FROM sheets WHERE number = NEW.number)
            OR NEW.running IS NOT (SELECT coalesce(max(running), 0) + 1 FROM sheets WHERE year = NEW.year))
    BEGIN SELECT RAISE(ABORT, 'the number of a sheet is the next of its year'); END;
CREATE TRIGGER sheets_remain BEFORE DELETE ON sheets
    BEGIN SELECT RAISE(ABORT, 'a sheet is never removed'); END;
CREATE TRIGGER revisions_follow BEFORE INSERT ON revisions
    WHEN NEW.revision IS NOT (SELECT coalesce(max(revision), 0) + 1 FROM revisions WHERE sheet = NEW.sheet)
    BEGIN SELECT RAISE(ABORT, 'a revision is the next of its sheet'); END;
CREATE TRIGGER contents_once BEFORE INSERT ON contents
    WHEN EXISTS (SELECT 1 FROM contents WHERE sheet = NEW.sheet AND revision = NEW.revision AND kind = NEW.kind)
        OR EXISTS (SELECT 1 FROM deeds
            WHERE sheet = NEW.sheet AND revision = NEW.revision AND kind = 'handed_over')
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER revision_photographs_once BEFORE INSERT ON revision_photographs
    WHEN EXISTS (SELECT 1 FROM revision_photographs
            WHERE sheet = NEW.sheet AND revision = NEW.revision AND place = NEW.place)
        OR EXISTS (SELECT 1 FROM deeds
            WHERE sheet = NEW.sheet AND revision = NEW.revision AND kind = 'handed_over')
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER deeds_follow BEFORE INSERT ON deeds
    WHEN NEW.key IS NOT (SELECT coalesce(max(key), 0) + 1 FROM deeds)
        OR EXISTS (SELECT 1 FROM deeds WHERE digest = NEW.digest)
    BEGIN SELECT RAISE(ABORT, 'a deed is the next of all'); END;
CREATE TRIGGER photographs_once BEFORE INSERT ON photographs
    WHEN EXISTS (SELECT 1 FROM photographs WHERE digest = NEW.digest)
    BEGIN SELECT RAISE(ABORT, 'a photograph never changes'); END;
CREATE TRIGGER photographs_stay BEFORE UPDATE ON photographs
    BEGIN SELECT RAISE(ABORT, 'a photograph never changes'); END;
CREATE TRIGGER photographs_remain BEFORE DELETE ON photographs
    WHEN EXISTS (SELECT 1 FROM revision_photographs WHERE digest = OLD.digest)
    BEGIN SELECT RAISE(ABORT, 'a photograph that was handed over is never removed'); END;
CREATE TRIGGER revisions_stay BEFORE UPDATE ON revisions
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER revisions_remain BEFORE DELETE ON revisions
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER contents_stay BEFORE UPDATE ON contents
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER contents_remain BEFORE DELETE ON contents
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER revision_photographs_stay BEFORE UPDATE ON revision_photographs
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER revision_photographs_remain BEFORE DELETE ON revision_photographs
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END;
CREATE TRIGGER deeds_stay BEFORE UPDATE ON deeds
    BEGIN SELECT RAISE(ABORT, 'what has happened never changes'); END;
CREATE TRIGGER deeds_remain BEFORE DELETE ON deeds
    BEGIN SELECT RAISE(ABORT, 'what has happened never changes'); END;
CREATE INDEX prices_by_moment ON prices (metal, currency, seen_at, "key");
CREATE TRIGGER prices_once BEFORE INSERT ON prices
    WHEN EXISTS (SELECT 1 FROM prices WHERE key = NEW.key)
    BEGIN SELECT RAISE(ABORT, 'a price never takes the place of another'); END;
CREATE TRIGGER prices_stay BEFORE UPDATE ON prices
    BEGIN SELECT RAISE(ABORT, 'a price that was kept never changes'); END;
CREATE TRIGGER prices_remain BEFORE DELETE ON prices
    BEGIN SELECT RAISE(ABORT, 'a price that was kept is never removed'); END;
CREATE UNIQUE INDEX book_versions_by_entry ON book_versions (entry, version);
CREATE INDEX book_versions_by_book ON book_versions (book, entry, version);
CREATE INDEX revision_books_by_entry ON revision_books (entry, version);
CREATE TRIGGER book_versions_once BEFORE INSERT ON book_versions
    WHEN EXISTS (SELECT 1 FROM book_versions
        WHERE key = NEW.key OR (entry = NEW.entry AND version = NEW.version))
    BEGIN SELECT RAISE(ABORT, 'a version of an entry never takes the place of another'); END;
CREATE TRIGGER book_versions_stay BEFORE UPDATE ON book_versions
    BEGIN SELECT RAISE(ABORT, 'a version that was kept never changes'); END;
CREATE TRIGGER book_versions_remain BEFORE DELETE ON book_versions
    BEGIN SELECT RAISE(ABORT, 'a version that was kept is never removed'); END;
CREATE TRIGGER revision_books_once BEFORE INSERT ON revision_books
    WHEN EXISTS (SELECT 1 FROM revision_books
        WHERE sheet = NEW.sheet AND revision = NEW.revision AND place = NEW.place)
    BEGIN SELECT RAISE(ABORT, 'what a sheet used never takes the place of another'); END;
CREATE TRIGGER revision_books_stay BEFORE UPDATE ON revision_books
    BEGIN SELECT RAISE(ABORT, 'what a sheet used never changes'); END;
CREATE TRIGGER revision_books_remain BEFORE DELETE ON revision_books
    BEGIN SELECT RAISE(ABORT, 'what a sheet used is never removed'); END;
CREATE VIRTUAL TABLE sheet_words USING fts5(words, content='', detail=none, columnsize=0, prefix='1 2 3',
    tokenize="unicode61 remove_diacritics 0 categories 'L* M* N* S* P* C*'");
INSERT INTO "sheet_words" (rowid, words) VALUES(1,'-0001 0001 001 01 026-0001 1 114 14 2026-0001 26-0001 4 6-0001 af artz bble ble book counter d e eaf ebble er f gold hite it ite k ld le leaf nter ok old ook ounter pebble quartz r rtz s t te ter tz uartz unter white z 金 🏽🔬 👩🏽🔬 🔬');
INSERT INTO "sheet_words" (rowid, words) VALUES(2,'-0002 0002 002 02 026-0002 2 2026-0002 26-0002 6-0002 af artz bble ble d e eaf ebble f gold hite it ite ld le leaf old pebble quartz rtz s t te tz uartz white z 金 🏽🔬 👩🏽🔬 🔬');
INSERT INTO "sheet_words" (rowid, words) VALUES(3,'115 15 5 book en itten k n ok ook ritten ten tten written');
INSERT INTO "sheet_words" (rowid, words) VALUES(4,'-0003 0003 003 026-0003 03 2026-0003 26-0003 3 6-0003 af artz bble ble d e eaf ebble f gold hite it ite ld le leaf old pebble quartz rtz s t te tz uartz white z 金 🏽🔬 👩🏽🔬 🔬');
INSERT INTO "sheet_words" (rowid, words) VALUES(5,'-0001 0001 001 01 027-0001 1 2027-0001 27-0001 7-0001 af artz bble ble d e eaf ebble f gold hite it ite ld le leaf old pebble quartz rtz s t te tz uartz white z 金 🏽🔬 👩🏽🔬 🔬');
COMMIT;

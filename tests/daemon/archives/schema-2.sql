-- An archive of schema 2, which has the pairs of radar and AIS tracks: one of each event at 10 s and at 20 s.
-- Never edited: newer programs must open it. Made with Store and Connection.iterdump().
BEGIN TRANSACTION;
CREATE TABLE alerts (
    alert_row_id   INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    id INTEGER NOT NULL, rule TEXT NOT NULL, priority TEXT NOT NULL, state TEXT NOT NULL, target TEXT,
    text TEXT NOT NULL,
    "values" TEXT NOT NULL                   -- JSON
);
INSERT INTO "alerts" VALUES(1,1,1800000010000,10.0,3,'closest_approach','alarm','active-unacknowledged','radar-07','CPA 0.3 NM in 11 min','{"cpa_nm":0.31,"limit_nm":0.5,"why":null,"held":true}');
INSERT INTO "alerts" VALUES(2,1,1800000020000,20.0,3,'closest_approach','alarm','active-unacknowledged','radar-07','CPA 0.3 NM in 11 min','{"cpa_nm":0.31,"limit_nm":0.5,"why":null,"held":true}');
CREATE TABLE feeds (
    feed_id        INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    name TEXT NOT NULL, state TEXT NOT NULL,
    lines INTEGER NOT NULL, accepted INTEGER NOT NULL, refused TEXT NOT NULL, dropped INTEGER NOT NULL
);
INSERT INTO "feeds" VALUES(1,1,1800000010000,10.0,'radar','up',9,8,'{"checksum":1}',0);
INSERT INTO "feeds" VALUES(2,1,1800000020000,20.0,'radar','up',9,8,'{"checksum":1}',0);
CREATE TABLE gaps (                          -- when the archive itself could not be written
    gap_id         INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,         -- of the first event lost or late
    at_s           REAL NOT NULL,
    until_at_s     REAL NOT NULL,
    lost           INTEGER NOT NULL,         -- events that are not in the archive
    reason TEXT NOT NULL
);
CREATE TABLE notes (
    note_id        INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    text TEXT NOT NULL, author TEXT NOT NULL
);
INSERT INTO "notes" VALUES(1,1,1800000010000,10.0,'sea clutter up','skipper');
INSERT INTO "notes" VALUES(2,1,1800000020000,20.0,'sea clutter up','skipper');
CREATE TABLE own_ship (
    own_ship_id    INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    lat_deg REAL, lon_deg REAL, position_age_s REAL,
    sog_kn REAL, sog_age_s REAL, cog_deg REAL, cog_age_s REAL,
    heading_deg REAL, heading_source TEXT, heading_age_s REAL,
    stw_kn REAL, stw_age_s REAL
);
INSERT INTO "own_ship" VALUES(1,1,1800000010000,10.0,58.2,11.5,0.2,NULL,NULL,NULL,NULL,NULL,'HDT',NULL,NULL,NULL);
INSERT INTO "own_ship" VALUES(2,1,1800000020000,20.0,58.2,11.5,0.2,NULL,NULL,NULL,NULL,NULL,'HDT',NULL,NULL,NULL);
CREATE TABLE pairs (                         -- a radar and an AIS track are one vessel, or no longer
    pair_id        INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    target TEXT NOT NULL, ais TEXT NOT NULL, name TEXT NOT NULL, state TEXT NOT NULL,
    speaks TEXT,                             -- the track that alerts are for
    why TEXT NOT NULL
);
INSERT INTO "pairs" VALUES(1,1,1800000010000,10.0,'radar-07','ais-219000123','','joined','radar-07','');
INSERT INTO "pairs" VALUES(2,1,1800000020000,20.0,'radar-07','ais-219000123','','joined','radar-07','');
CREATE TABLE passages (
    passage_id     INTEGER PRIMARY KEY,
    origin         TEXT NOT NULL,            -- watch or replay
    source         TEXT NOT NULL,            -- feeds or files, one a line
    program        TEXT NOT NULL,            -- version that wrote it
    started_utc_ms INTEGER NOT NULL,
    last_utc_ms    INTEGER NOT NULL,         -- of the newest row
    last_at_s      REAL NOT NULL,
    ended          TEXT                      -- NULL while it runs, or when it died
);
INSERT INTO "passages" VALUES(1,'watch','udp:10110','secondplot 0.1.0',1800000010000,1800000020000,20.0,'in order');
CREATE TABLE plots (
    plot_id        INTEGER PRIMARY KEY,
    target_id      INTEGER NOT NULL REFERENCES targets ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    name TEXT NOT NULL,
    range_nm REAL NOT NULL, bearing_deg REAL, relative_bearing_deg REAL, course_deg REAL, speed_kn REAL,
    cpa_nm REAL, cpa_sd_nm REAL, cpa_low_nm REAL, cpa_high_nm REAL, tcpa_min REAL, tcpa_sd_min REAL,
    inside_probability REAL,
    bearing_rate_deg_min REAL, bearing_rate_sd_deg_min REAL, bearing_trend TEXT NOT NULL,
    bow_crossing_nm REAL, bow_crossing_min REAL, passing TEXT NOT NULL, encounter TEXT NOT NULL,
    reported_cpa_nm REAL, reported_tcpa_min REAL, reported_course_deg REAL, reported_speed_kn REAL,
    "check" TEXT NOT NULL, check_cause TEXT,
    track TEXT NOT NULL, observations INTEGER NOT NULL
);
INSERT INTO "plots" VALUES(1,1,1800000010000,10.0,'',4.0,61.0,-61.0,230.5,12.1,0.31,0.05,0.21,0.41,11.2,0.4,0.97,0.2,0.1,'drawing aft',NULL,NULL,'astern','crossing from starboard',0.4,11.0,231.0,12.0,'agrees',NULL,'steady',40);
INSERT INTO "plots" VALUES(2,1,1800000020000,20.0,'',4.0,61.0,-61.0,230.5,12.1,0.31,0.05,0.21,0.41,11.2,0.4,0.97,0.2,0.1,'drawing aft',NULL,NULL,'astern','crossing from starboard',0.4,11.0,231.0,12.0,'agrees',NULL,'steady',40);
CREATE TABLE radar (
    radar_id       INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    time_utc_ms    INTEGER NOT NULL,
    at_s           REAL NOT NULL,
    range_scale_nm REAL, orientation TEXT,
    ebl_1_deg REAL, vrm_1_nm REAL, ebl_2_deg REAL, vrm_2_nm REAL, cursor_range_nm REAL, cursor_bearing_deg REAL
);
INSERT INTO "radar" VALUES(1,1,1800000010000,10.0,6.0,'head-up',12.5,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "radar" VALUES(2,1,1800000020000,20.0,6.0,'head-up',12.5,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE targets (
    target_id      INTEGER PRIMARY KEY,
    passage_id     INTEGER NOT NULL REFERENCES passages ON DELETE CASCADE,
    target         TEXT NOT NULL,            -- radar-07, ais-219000123, mark-1
    name           TEXT NOT NULL,
    first_utc_ms   INTEGER NOT NULL,
    first_at_s     REAL NOT NULL,
    last_utc_ms    INTEGER NOT NULL,
    last_at_s      REAL NOT NULL,
    plots          INTEGER NOT NULL,
    closest_range_nm    REAL NOT NULL,       -- closest approach as observed
    closest_bearing_deg REAL,
    closest_utc_ms INTEGER NOT NULL,
    closest_at_s   REAL NOT NULL,
    UNIQUE (passage_id, target)
);
INSERT INTO "targets" VALUES(1,1,'radar-07','',1800000010000,10.0,1800000020000,20.0,2,4.0,61.0,1800000010000,10.0);
CREATE INDEX own_ship_by_passage ON own_ship (passage_id, at_s);
CREATE INDEX targets_by_age ON targets (last_utc_ms);
CREATE INDEX plots_by_target ON plots (target_id, at_s);
CREATE INDEX alerts_by_passage ON alerts (passage_id, at_s);
CREATE INDEX radar_by_passage ON radar (passage_id, at_s);
CREATE INDEX notes_by_passage ON notes (passage_id, at_s);
CREATE INDEX feeds_by_passage ON feeds (passage_id, at_s);
CREATE INDEX gaps_by_passage ON gaps (passage_id, at_s);
CREATE INDEX pairs_by_passage ON pairs (passage_id, at_s);
COMMIT;
PRAGMA application_id = 1397771348;
PRAGMA user_version = 2;

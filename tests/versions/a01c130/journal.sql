PRAGMA application_id = 1212240464;
PRAGMA user_version = 2;
BEGIN TRANSACTION;
CREATE TABLE calibrations (
        input TEXT NOT NULL,
        output TEXT NOT NULL,
        rate INTEGER NOT NULL,
        latency_ms REAL NOT NULL,
        spread_ms REAL NOT NULL,
        measured TEXT NOT NULL,
        by_hand INTEGER NOT NULL,
        PRIMARY KEY (input, output, measured)
    ) STRICT;
CREATE TABLE days (
        player TEXT NOT NULL,
        day TEXT NOT NULL,
        minutes REAL NOT NULL,
        entries TEXT NOT NULL,
        PRIMARY KEY (player, day)
    ) STRICT;
CREATE TABLE harps (
        player TEXT NOT NULL,
        name TEXT NOT NULL,
        key TEXT NOT NULL,
        tuning TEXT NOT NULL,
        a4 REAL NOT NULL,
        temperament TEXT NOT NULL,
        measured TEXT NOT NULL,
        reeds TEXT NOT NULL,
        PRIMARY KEY (player, name, measured)
    ) STRICT;
CREATE TABLE steps (
        take TEXT NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
        idx INTEGER NOT NULL,
        tab TEXT NOT NULL,
        kind TEXT NOT NULL,
        entry TEXT,
        care TEXT NOT NULL,
        beats REAL NOT NULL,
        score REAL NOT NULL,
        parts TEXT NOT NULL,
        sentence TEXT NOT NULL,
        heard TEXT,
        cents REAL,
        wobble_cents REAL,
        drift_cents REAL,
        scoop_cents REAL,
        settle_ms REAL,
        leak_db REAL,
        leak_hole INTEGER,
        late_ms REAL,
        hz REAL,
        PRIMARY KEY (take, idx)
    ) STRICT, WITHOUT ROWID;
INSERT INTO "steps" VALUES('0c51f642d0c346d4bddda73dcd758084',0,'4','note','4','plain',1.0,100.0,'{"pitch": 100.0, "steadiness": 100.0, "attack": 100.0, "cleanness": 100.0, "time": 100.0, "articulation": 100.0}','in tune, clean, in time','4',3.42467051950734457932e-04,1.03392316261660850706e-02,1.64109116408519689622e-02,9.49441222476424401266e-02,4.97916666666666607454e+00,NULL,NULL,0.0,5.23251234109033134698e+02);
INSERT INTO "steps" VALUES('0c51f642d0c346d4bddda73dcd758084',1,'-4','note','-4','plain',1.0,100.0,'{"pitch": 100.0, "steadiness": 100.0, "attack": 100.0, "cleanness": 100.0, "time": 100.0, "articulation": 100.0}','in tune, clean, in time','-4',1.55320663310476447804e-03,1.30552123873338369458e-02,7.54398484307388511593e-03,1.21596131143158078802e-01,4.97916666666666607454e+00,NULL,NULL,0.0,5.88658050050882138744e+02);
INSERT INTO "steps" VALUES('1d8fb0694b56418588984734587e9b57',0,'4','note','4','plain',1.0,100.0,'{"pitch": 100.0, "steadiness": 100.0, "attack": 100.0, "cleanness": 100.0, "time": 100.0, "articulation": 100.0}','in tune, clean, in time','4',3.42467051950734457932e-04,1.03392316261660850706e-02,1.64109116408519689622e-02,9.49441222476424401266e-02,4.97916666666666607454e+00,NULL,NULL,0.0,5.23251234109033134698e+02);
INSERT INTO "steps" VALUES('1d8fb0694b56418588984734587e9b57',1,'-4','note','-4','plain',1.0,100.0,'{"pitch": 100.0, "steadiness": 100.0, "attack": 100.0, "cleanness": 100.0, "time": 100.0, "articulation": 100.0}','in tune, clean, in time','-4',1.55320663310476447804e-03,1.30552123873338369458e-02,7.54398484307388511593e-03,1.21596131143158078802e-01,4.97916666666666607454e+00,NULL,NULL,0.0,5.88658050050882138744e+02);
CREATE TABLE takes (
        id TEXT PRIMARY KEY,
        player TEXT NOT NULL,
        began TEXT NOT NULL,
        day TEXT NOT NULL,
        drill TEXT NOT NULL,
        title TEXT NOT NULL,
        skills TEXT NOT NULL,
        harp_key TEXT NOT NULL,
        harp_tuning TEXT NOT NULL,
        harp_a4 REAL NOT NULL,
        harp_temperament TEXT NOT NULL,
        harp_name TEXT,
        tempo REAL NOT NULL,
        source TEXT NOT NULL,
        score REAL NOT NULL,
        passed INTEGER NOT NULL,
        whole INTEGER NOT NULL,
        seconds REAL NOT NULL,
        extras TEXT NOT NULL,
        audio TEXT
    ) STRICT;
INSERT INTO "takes" VALUES('0c51f642d0c346d4bddda73dcd758084','Marit','2026-11-30T00:10:00.943560+00:00','2026-11-30','quay','Two notes at the quay','["single notes"]','C','richter',440.0,'just5',NULL,300.0,'recording',100.0,1,1,0.4,'[]',NULL);
INSERT INTO "takes" VALUES('1d8fb0694b56418588984734587e9b57','Marit','2026-11-30T00:10:22.106825+00:00','2026-11-30','quay','Two notes at the quay','["single notes"]','C','richter',440.0,'just5',NULL,300.0,'recording',100.0,1,1,0.4,'[]',NULL);
CREATE INDEX takes_by_day ON takes (player, day);
CREATE INDEX takes_by_drill ON takes (player, drill, began);
COMMIT;

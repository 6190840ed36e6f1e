-- A journal as version 5 of its schema kept it. Released: never to be changed.
PRAGMA application_id = 1212240464;
PRAGMA user_version = 5;
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
INSERT INTO "calibrations" VALUES('USB','hall',48000,1.67182122056200626052e+01,0.25,'2026-09-01T18:00:00.000000+00:00',0);
CREATE TABLE days (
        player TEXT NOT NULL,
        day TEXT NOT NULL,
        minutes REAL NOT NULL,
        entries TEXT NOT NULL,
        PRIMARY KEY (player, day)
    ) STRICT;
INSERT INTO "days" VALUES('Marit','2026-09-02',20.0,'[{"drill": "slack-tide", "why": "it is due"}]');
CREATE TABLE focuses (
        player TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        since TEXT NOT NULL,
        until TEXT NOT NULL
    ) STRICT;
INSERT INTO "focuses" VALUES('Jorun','-3''''','2026-11-20','2026-11-26');
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
INSERT INTO "harps" VALUES('Marit','old C','C','richter',442.0,'equal','2026-09-02T17:00:00.000000+00:00','[{"tab": "4", "hz": 265.04402394995674, "spread_cents": 3.3897349477489307}, {"tab": "-4", "hz": 634.2505044361876, "spread_cents": 1.0202761029576868}]');
INSERT INTO "harps" VALUES('Marit','old C','C','richter',442.0,'equal','2026-09-03T17:00:00.000000+00:00','[{"tab": "4", "hz": 827.9663111244787, "spread_cents": 3.7913099482373975}, {"tab": "-4", "hz": 237.94139135756927, "spread_cents": 0.3394879806356865}]');
CREATE TABLE placements (
        player TEXT NOT NULL,
        skill TEXT NOT NULL,
        level INTEGER NOT NULL,
        day TEXT NOT NULL,
        by_hand INTEGER NOT NULL,
        PRIMARY KEY (player, skill)
    ) STRICT;
INSERT INTO "placements" VALUES('Ødger','single notes',2,'2026-11-18',0);
INSERT INTO "placements" VALUES('Ødger','half-step bends',5,'2026-11-18',1);
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
INSERT INTO "steps" VALUES('cd613e30d8f14adf91b7584a2265b1f5',0,'-4''','note','-4''','clean',0.5,4.39893156636812960886e+01,'{"pitch": 67.2599766956299, "steadiness": 20.612655243164845, "cleanness": 58.364658113990345}','12 cents flat','-4''',-1.19092471812497215923e+01,1.48689520038381139954e+00,3.2214295150512564092e+00,-8.36398217581356462346e+00,NULL,-12.5,3,-9.17101717591893894621e+00,4.36983604458611807775e+02);
INSERT INTO "steps" VALUES('cd613e30d8f14adf91b7584a2265b1f5',1,'-4''','note','-4''','clean',1.0,3.23515706102519118303e+01,'{"steadiness": 42.42967443799014, "motion": 41.26340577243278, "time": 31.479357205687908}','11 cents flat','-4''',-1.06095625535841122657e+01,1.72009104141249036246e+00,3.1406518074671065932e+00,-7.04867920781673262808e+00,NULL,-12.5,3,6.74282437698485814792e+00,4.37311783142062552101e+02);
INSERT INTO "steps" VALUES('cd613e30d8f14adf91b7584a2265b1f5',2,'-3''''','note','-3''''','clean',1.0,3.76081882724230922568e+01,'{"pitch": 40.44537194209499, "steadiness": 40.25065147108295, "attack": 10.948956514961994, "motion": 61.998052763546575, "cleanness": 53.799260999505215, "time": 25.940172796919605}','8 cents sharp','-3''''',7.6851175717510642471e+00,6.56819132801173655167e+00,9.59312990218814221066e-01,-3.8663532540073717314e+00,35.0,-12.5,3,2.17765756752741097552e+01,4.41957544763571490891e+02);
INSERT INTO "steps" VALUES('cd613e30d8f14adf91b7584a2265b1f5',3,'4','note','4','plain',1.0,7.64342857447231072143e-01,'{"pitch": 32.69204451785919, "attack": 71.37711191188278, "motion": 18.719414852200554, "cleanness": 25.557656732422217, "time": 17.53831565502696}','1 cents flat','4',-1.24976083020792683164e+00,1.56549236452096884875e+00,1.96940155839454744679e+00,-1.10343483618359652356e+01,35.0,-12.5,3,6.37165836496067594652e+00,4.39682482948201652566e+02);
INSERT INTO "steps" VALUES('d95bafc8f2a4427b9cf4bb99f4bea973',0,'-3''''','note','-3''''','clean',0.5,6.97774638397065061212e+00,'{"steadiness": 21.77356708943573, "attack": 22.117360079666682, "motion": 0.17872832664068694, "cleanness": 19.708138492046988, "time": 31.083996819660932}','4 cents flat','-3''''',-4.41200767108398395066e+00,5.82843083057814403957e-01,2.79441248027669519871e+00,-2.50166004847883058923e+01,NULL,-12.5,3,-3.00175672640158026634e+01,4.38880098378545653765e+02);
INSERT INTO "steps" VALUES('d95bafc8f2a4427b9cf4bb99f4bea973',1,'4','note','4','plain',1.0,2.20767378022447395839e+01,'{"pitch": 40.20828367781951, "steadiness": 59.30256953751522, "motion": 36.62459320882488, "cleanness": 80.97681097559548, "time": 19.368397553462234}','8 cents flat','4',-8.3562782457921755963e+00,3.90912255525366392205e+00,4.59903164014859466846e+00,-2.29868644480127493068e+01,NULL,-12.5,3,-1.45772977203985050205e+01,4.37881336012267297509e+02);
INSERT INTO "steps" VALUES('d95bafc8f2a4427b9cf4bb99f4bea973',2,'-4''','note','-4''','clean',1.0,96.2730756131026,'{"pitch": 86.40245726415043, "motion": 35.13116142792002, "cleanness": 5.987799912592617, "time": 66.68312550559583}','12 cents flat','-4''',-1.23723309420274709682e+01,1.72648878302767339043e+00,3.4753716431516448182e+00,-2.41652711339204095963e+01,35.0,-12.5,3,-1.13894160881900212704e+01,4.36866732364356721504e+02);
INSERT INTO "steps" VALUES('d95bafc8f2a4427b9cf4bb99f4bea973',3,'6','note','6','clean',0.5,8.17276831521879643105e+01,'{"pitch": 89.66964883074307, "steadiness": 33.25896932819178, "attack": 12.847610116047669, "motion": 63.94055822741883, "cleanness": 8.760752878568223, "time": 87.93323358802203}','1 cents sharp','6',1.22086714012116,1.48184130626609800174e+00,4.18235702873417913849e+00,-2.78417406925683508234e+01,35.0,-12.5,3,1.5322443324828219247e+01,4.40310397659302282151e+02);
INSERT INTO "steps" VALUES('e3e70682c2094caca29f6fbed82c07cd',0,'6o','note','6o','clean',0.5,9.36870003392141796876e+01,'{"pitch": 1.3363750758485615, "steadiness": 17.999590467054848, "attack": 6.073949980829585, "motion": 20.25939639536565, "cleanness": 39.189734209199266}','4 cents flat','6o',-4.16217782216238241232e+00,4.7278537289844937419e+00,5.15852520948504533748e+00,-2.84381591719997146583e+01,NULL,-12.5,3,1.59601907745949862511e+01,4.38943436585432664306e+02);
INSERT INTO "steps" VALUES('e3e70682c2094caca29f6fbed82c07cd',1,'4','note','4','plain',3.33333333333333314829e-01,4.0466017067048795754e+01,'{"pitch": 92.89637869311281, "attack": 52.547398845971735, "motion": 16.547333626612883, "cleanness": 78.33374452443816}','36 cents sharp','4',35.5957951691421,3.92231827694424239894e+00,-1.06680248327259807883e-01,-1.39546597692645129033e+01,NULL,-12.5,3,1.09080497087823928841e+01,4.49140458712745328263e+02);
INSERT INTO "steps" VALUES('e3e70682c2094caca29f6fbed82c07cd',2,'4','note','4','plain',1.0,1.11785091301549126545e+01,'{"pitch": 31.181417192028647, "steadiness": 5.819631521810875, "attack": 50.44850197475843, "motion": 18.153511111536304, "cleanness": 31.54812851741958, "time": 94.85319146942149}','19 cents flat','4',-1.94124396483583296912e+01,1.07208656633893828491e+00,-2.2502593577431495575e-01,-2.74893870997799112383e+01,35.0,-12.5,3,-1.03144891699781773299e+01,4.35093809590896512433e+02);
INSERT INTO "steps" VALUES('e3e70682c2094caca29f6fbed82c07cd',3,'-4''','note','-4''','clean',0.5,1.99422749305894555504e+01,'{"pitch": 7.710665736778255, "attack": 86.45547471175927, "motion": 11.635070865849906, "time": 91.88730087667155}','1 cents sharp','-4''',1.40857271628057723056e+00,2.36708261827463672943e+00,6.21632857109832070996e-01,-1.38416437689860423172e+01,35.0,-12.5,3,-1.84795917138790528611e+01,440.358140018343);
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
    , first_bar INTEGER, last_bar INTEGER, tolerance REAL, solos TEXT NOT NULL DEFAULT '[]') STRICT;
INSERT INTO "takes" VALUES('e3e70682c2094caca29f6fbed82c07cd','Ødger','2026-10-18T15:54:51.965091+00:00','2026-10-18','slack-tide','Slack tide','["single notes"]','A','richter',440.0,'equal','old C',90.0,'microphone',75.889646,1,0,5.82421657005500961181e+01,'["a -3 that nothing asked for, after step 2"]',NULL,1,8,10.0,'[]');
INSERT INTO "takes" VALUES('cd613e30d8f14adf91b7584a2265b1f5','Ødger','2026-09-08T04:01:57.479923+00:00','2026-09-08','mole-lights','Lights on the mole','["half-step bends", "time"]','G','richter',440.0,'equal','old C',60.0,'microphone',81.132092,1,1,43.0950572873158,'["a -3 that nothing asked for, after step 2"]',NULL,NULL,NULL,NULL,'[]');
INSERT INTO "takes" VALUES('d95bafc8f2a4427b9cf4bb99f4bea973','Jorun','2026-11-20T10:53:43.362848+00:00','2026-11-20','slack-tide','Slack tide','["single notes"]','A','richter',440.0,'equal',NULL,72.5,'microphone',90.599408,1,0,3.13048832217346557622e+01,'["a -3 that nothing asked for, after step 2"]',NULL,NULL,NULL,NULL,'[]');
INSERT INTO "takes" VALUES('216363698b524b4a97b750923ceb3ffd','Ødger','2026-11-18T18:05:37.097801+00:00','2026-11-18','slack-tide','Slack tide','["single notes"]','G','richter',440.0,'equal','old C',60.0,'microphone',61.638089,0,0,2.67858958386891963252e+01,'[]','audio/216363698b524b4a97b750923ceb3ffd.flac',3,4,15.0,'[{"bar": 3, "beats": 8.0, "score": 71.5, "criteria": {"scale": 100.0, "phrases": 62.5, "variety": 80.0}, "notes": 11, "sentence": "your phrases run on: leave a beat of rest after two bars"}]');
CREATE INDEX takes_by_day ON takes (player, day);
CREATE INDEX takes_by_drill ON takes (player, drill, began);
COMMIT;

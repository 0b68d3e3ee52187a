//! Options that do not go together or say what cannot be: told, and never passed over.

use tempfile::TempDir;

use super::command::{done, run};

#[test]
fn what_an_option_cannot_be_is_told() {
    let dir = TempDir::new().unwrap();
    done(dir.path(), &["log", "add", "water", "reef"]);
    let reading = ["add", "reading", "reef", "nitrate", "5", "mg/L"];
    for (args, says) in [
        (
            &["add", "water", "pond", "--volume", "-5L"][..],
            "'-5L' for '--volume <VOLUME>': a volume is more than nothing",
        ),
        (
            &["edit", "w1", "--volume", "-5L"],
            "a volume is more than nothing",
        ),
        (
            &["add", "water", "pond", "--volume", "nanL"],
            "a volume is a number with its unit",
        ),
        (
            &["event", "reef", "water-change", "--percent", "-5"],
            "'-5' for '--percent <PERCENT>': it has to be above 0",
        ),
        (
            &[
                "event",
                "reef",
                "dose",
                "--substance",
                "salt",
                "--amount",
                "-5",
                "--unit",
                "g",
            ],
            "'-5' for '--amount <AMOUNT>': it cannot be below 0",
        ),
        (
            &[&reading[..], &["--plus-minus", "-5"]].concat(),
            "'-5' for '--plus-minus <HALF>': it has to be above 0",
        ),
        (
            &[
                "event",
                "reef",
                "dose",
                "--substance",
                "salt",
                "--percent",
                "5",
            ],
            "--percent is the share of a water-change",
        ),
        (&["show", "--test", "nitrate"], "<WATER>"),
    ] {
        let (code, out, err) = run(dir.path(), &[&["log"], args].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
        assert!(err.contains(says), "{args:?}: {err}");
        assert!(!err.contains("unexpected argument"), "{err}");
    }
    let (shown, _) = done(dir.path(), &["log", "show", "reef"]);
    assert_eq!(shown, "nothing is logged yet\n");
}

/// What was, what is, and what was removed, without what only the file needs.
#[test]
fn changes_are_told_in_words() {
    let dir = TempDir::new().unwrap();
    let log = |args: &[&str]| done(dir.path(), &[&["log"], args].concat());
    log(&["add", "water", "reef"]);
    log(&["add", "water", "pond"]);
    log(&[
        "add",
        "reading",
        "reef",
        "nitrate",
        "20",
        "mg/L",
        "--plus-minus",
        "4",
        "--at",
        "2026-03-01T09:05",
    ]);
    log(&["event", "reef", "feeding", "--at", "2026-03-02"]);
    log(&["edit", "r1", "--note", "by lamp", "--water", "pond"]);
    log(&["edit", "r1", "--note", "by daylight"]);
    log(&["edit", "w1", "--volume", "400L", "--invertebrates", "yes"]);
    log(&["limits", "reef", "nitrate", "mg/L", "--high", "30"]);
    log(&["limits", "reef", "nitrate", "mg/L", "--high", "20"]);
    log(&["limits", "reef", "nitrate", "mg/L"]);
    log(&["remove", "r1", "e1", "w2"]);
    let (told, _) = log(&["show", "--changes"]);
    let lines: Vec<&str> = told.lines().map(|l| &l[18..]).collect();
    assert_eq!(
        lines,
        [
            "r1     note: \"\" -> \"by lamp\"; water: \"reef\" -> \"pond\"",
            "r1     note: \"by lamp\" -> \"by daylight\"",
            "w1     invertebrates: no -> yes; volume in L: none -> 400",
            "limits of reef: nitrate not over 30 mg/L -> nitrate not over 20 mg/L",
            "limits taken away: of reef: nitrate not over 20 mg/L",
            "r1     removed: nitrate of pond, 2026-03-01 09:05: 20.0 mg/L (16.0 to 24.0)",
            "e1     removed: feeding of reef, 2026-03-02 12:00",
            "w2     removed: \"pond\"",
        ]
    );
    log(&["restore", "w2", "r1"]);
    let (told, _) = log(&["show", "--changes"]);
    let lines: Vec<&str> = told.lines().skip(8).map(|l| &l[18..]).collect();
    assert_eq!(
        lines,
        [
            "w2     restored: \"pond\"",
            "r1     restored: nitrate of pond, 2026-03-01 09:05: 20.0 mg/L (16.0 to 24.0)",
        ]
    );
    let (told, _) = log(&["show", "--changes", "--json"]);
    let rows: Vec<serde_json::Value> = told
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    assert_eq!(rows[0]["after"]["water"], "pond");
    assert_eq!(rows[0]["removed"], false);
    assert_eq!(rows[5]["removed"], true);
    assert_eq!(rows[9]["restored"], true);
    assert!(rows[9]["before"].is_null(), "{}", rows[9]);
    assert_eq!(rows[9]["after"]["note"], "by daylight");
    assert_eq!(rows[5]["before"]["note"], "by daylight");
    for internal in ["folded", "uid", "seconds", "removed", "id"] {
        assert!(rows[0]["before"].get(internal).is_none(), "{internal}");
    }
}

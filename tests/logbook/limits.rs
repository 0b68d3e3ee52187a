//! Limits: in which unit they are, and what is said of them.

use tempfile::TempDir;

use super::command::{done, run};

#[test]
fn limits_are_not_replaced_by_those_of_another_unit() {
    let dir = TempDir::new().unwrap();
    let log = |args: &[&str]| run(dir.path(), &[&["log"], args].concat());
    let limits = |more: &[&str]| log(&[&["limits", "reef", "nitrate"], more].concat());
    let shown = || done(dir.path(), &["log", "show", "reef"]).0;
    done(dir.path(), &["log", "add", "water", "reef"]);
    let (code, _, err) = limits(&["mg/L"]);
    assert_eq!(
        (code, err.lines().next().unwrap()),
        (0, "nitrate in reef had no bounds: nothing is changed")
    );
    log(&[
        "add",
        "reading",
        "reef",
        "nitrate",
        "20",
        "mg/L",
        "--plus-minus",
        "4",
    ]);
    assert_eq!(limits(&["mg/L", "--low", "5", "--high", "30"]).0, 0);
    for more in [&["ppm"][..], &["ppm", "--high", "3"]] {
        let (code, _, err) = limits(more);
        assert_eq!(code, 4, "{err}");
        assert!(
            err.contains("the limits of nitrate in \"reef\" are in \"mg/L\", not in \"ppm\""),
            "{err}"
        );
        assert!(shown().contains("nitrate between 5 and 30 mg/L"));
    }
    let (_, _, err) = limits(&["MG/L"]);
    assert_eq!(err, "nitrate in reef has no bounds any more\n");
    let (code, _, err) = limits(&["ppm", "--high", "3"]);
    assert_eq!(code, 0, "{err}");
    assert!(
        err.contains("note: the last reading of nitrate in reef, r1, is in mg/L: limits in ppm are not compared with it"),
        "{err}"
    );
}

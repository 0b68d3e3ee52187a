//! A chart made on the phone from the shipped photos of standards.

use std::fs;

use crate::home::{Home, Part, file};

const FORM: &str = "test=nitrate&unit=mg/L&values=0+5+10+20+80&medium=salt&procedure=ten+drops&from_min=5&to_min=10&lot=&expires=2027-03-31";

fn standard(name: &str) -> Vec<u8> {
    fs::read(file("fixtures/alder-creek/standards").join(name)).unwrap()
}

async fn send(home: &Home, cookie: &str, value: &str, name: &str) -> crate::Answer {
    let photo = standard(name);
    let parts = [
        Part::Text("value", value),
        Part::Photo("../../etc/passwd.jpg", &photo),
    ];
    home.upload("/calibrate/photo", cookie, &parts).await
}

/// The session tells why the last photo cannot be used.
async fn told(home: &Home, cookie: &str, why: &str) {
    let shown = crate::page(home, cookie, "/calibrate").await;
    assert!(shown.contains("This photo cannot be used"), "{shown}");
    assert!(shown.contains(why), "{shown}");
}

#[tokio::test]
async fn standards_become_a_chart_that_is_used_at_once() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    crate::led(&home.post("/calibrate", &cookie, FORM).await, "/calibrate");
    let shown = crate::page(&home, &cookie, "/calibrate").await;
    assert!(shown.contains("Next: the vial of 0 mg/L") && shown.contains("3 more standards"));
    for (value, name) in [("0", "nitrate-00-a.jpg"), ("5", "nitrate-05-a.jpg")] {
        crate::led(&send(&home, &cookie, value, name).await, "/calibrate");
    }
    // Not yet enough for a chart.
    assert_eq!(
        home.post("/calibrate/finish", &cookie, "").await.status,
        400
    );
    crate::led(
        &send(&home, &cookie, "20", "nitrate-20-a.jpg").await,
        "/calibrate",
    );
    let shown = crate::page(&home, &cookie, "/calibrate").await;
    assert!(shown.contains("Next: the vial of 10 mg/L"), "{shown}");
    assert_eq!(shown.matches("class=\"swatch\"").count(), 3);
    assert!(
        shown.contains("told apart from 5 mg/L") || shown.contains("cannot tell it from 5 mg/L")
    );
    assert!(shown.contains("lightness"));
    // The same photo again, one of nothing, a value that is none of them: told where the next photo is taken.
    let parts = [Part::Text("value", "10"), Part::Photo("a.jpg", b"no photo")];
    crate::led(
        &send(&home, &cookie, "10", "nitrate-20-a.jpg").await,
        "/calibrate",
    );
    told(&home, &cookie, "was given already").await;
    crate::led(
        &home.upload("/calibrate/photo", &cookie, &parts).await,
        "/calibrate",
    );
    told(&home, &cookie, "a.jpg: ").await;
    crate::led(
        &send(&home, &cookie, "40", "nitrate-40-a.jpg").await,
        "/calibrate",
    );
    told(&home, &cookie, "none of the standards").await;
    // Taken away and given anew.
    crate::led(
        &home.post("/calibrate/away", &cookie, "photo=1").await,
        "/calibrate",
    );
    crate::led(
        &send(&home, &cookie, "0", "nitrate-00-b.jpg").await,
        "/calibrate",
    );
    let done = home.post("/calibrate/finish", &cookie, "").await;
    assert_eq!(done.status, 200, "{}", done.text());
    let files: Vec<String> = fs::read_dir(home.folder.path().join("charts"))
        .unwrap()
        .map(|f| f.unwrap().file_name().into_string().unwrap())
        .collect();
    // Its name is the server's: day and number.
    assert_eq!(files, ["chart-2026-09-21-1.json"]);
    let made = home.app.charts().last().unwrap().clone();
    assert_eq!(made.chart.values(), [0.0, 5.0, 20.0]);
    assert_eq!(made.chart.terms.procedure.as_deref(), Some("ten drops"));
    assert_eq!(
        tintwell::web::charts::all(&home.folder.path().join("charts"))
            .unwrap()
            .len(),
        1
    );
    // Monday was 17.0 mg/L with the shipped chart; this one, of three steps, is coarser.
    let parts = [
        Part::Text("chart", &made.name),
        Part::Photo("monday.jpg", &crate::home::monday()),
    ];
    let read = home.upload("/reading", &cookie, &parts).await;
    assert_eq!(read.status, 303, "{}", read.text());
    let read = crate::page(&home, &cookie, read.header("location")).await;
    assert!(
        read.contains("class=\"value\"") && read.contains("mg/L"),
        "{read}"
    );
    // The session is over.
    assert!(
        crate::page(&home, &cookie, "/calibrate")
            .await
            .contains("Concentrations of the standards")
    );
}

#[tokio::test]
async fn a_session_ends_and_has_bounds() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    for (values, why) in [
        ("0+5", "3 to 16 standards"),
        ("0+5+5", "given twice"),
        ("0+5+red", "is not understood"),
        ("-1+5+10", "is not a concentration"),
        (
            "1+2+3+4+5+6+7+8+9+10+11+12+13+14+15+16+17",
            "3 to 16 standards",
        ),
    ] {
        let form = format!("test=a&unit=mg/L&values={values}");
        let answer = home.post("/calibrate", &cookie, &form).await;
        let said = answer.text().to_lowercase();
        assert_eq!(answer.status, 400, "{values}");
        assert!(said.contains(why), "{values}: {said}");
    }
    let form = "test=a&unit=mg/L&values=0,5,10";
    crate::led(&home.post("/calibrate", &cookie, form).await, "/calibrate");
    home.later(2 * 3600 - 60);
    crate::led(
        &send(&home, &cookie, "0", "nitrate-00-a.jpg").await,
        "/calibrate",
    );
    home.later(2 * 3600 - 60);
    assert!(
        crate::page(&home, &cookie, "/calibrate")
            .await
            .contains("Next")
    );
    home.later(61);
    assert!(
        !crate::page(&home, &cookie, "/calibrate")
            .await
            .contains("Next")
    );
    crate::refused(
        &send(&home, &cookie, "0", "nitrate-00-b.jpg").await,
        400,
        "2 hours after its last photo",
    );
    // One session a device, and four in all.
    for n in 0..4 {
        let cookie = home.pair(&format!("other{n}")).await;
        crate::led(&home.post("/calibrate", &cookie, form).await, "/calibrate");
        crate::led(&home.post("/calibrate", &cookie, form).await, "/calibrate");
    }
    crate::refused(
        &home.post("/calibrate", &cookie, form).await,
        400,
        "on other devices",
    );
}

//! The pages about waters: history, forms, plans, and charts made on the phone. Requests go to the service itself.

#[path = "../web/home.rs"]
#[allow(dead_code)] // Other tests of the page use the rest.
mod home;

mod calibrate;

use std::fs;

use home::{Answer, Home, file};
use tintwell::logbook::exchange::Whole;
use tintwell::logbook::{Access, Amount, Logbook, Moment, Source};

/// After all of it.
fn now() -> Moment {
    "2026-06-01T12:00:00Z".parse().unwrap()
}

/// A home whose logbook also holds the twelve weeks, and the cookie of a phone.
async fn twelve_weeks() -> (Home, String) {
    let home = Home::new();
    let text = fs::read_to_string(file("fixtures/alder-creek/twelve-weeks.csv")).unwrap();
    let weeks = Whole::from_csv(&text).unwrap();
    weeks.import(&mut home.logbook(), &now()).unwrap();
    let cookie = home.pair("phone").await;
    (home, cookie)
}

/// The address of a water.
fn address(home: &Home, name: &str) -> String {
    let waters = home.logbook().waters().unwrap();
    let (entry, _) = waters.iter().find(|(_, w)| w.name == name).unwrap();
    format!("/water/{entry}")
}

async fn page(home: &Home, cookie: &str, path: &str) -> String {
    let answer = home.get(path, cookie).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    answer.text()
}

fn led(answer: &Answer, to: &str) {
    assert_eq!(answer.status, 303, "{}", answer.text());
    assert_eq!(answer.header("location"), to);
}

fn refused(answer: &Answer, status: u16, why: &str) {
    assert_eq!(answer.status, status, "{}", answer.text());
    assert!(answer.text().contains(why), "{}", answer.text());
}

#[tokio::test]
async fn the_list_tells_the_last_readings() {
    let (home, cookie) = twelve_weeks().await;
    let list = page(&home, &cookie, "/waters").await;
    assert!(list.contains("quarantine tank") && list.contains("tidepool"));
    // The last row of nitrate in the quarantine tank in the file.
    let rows = fs::read_to_string(file("fixtures/alder-creek/twelve-weeks.csv")).unwrap();
    let last = rows
        .lines()
        .rfind(|l| l.starts_with("reading,quarantine tank,") && l.contains(",nitrate,"))
        .unwrap();
    let at = last.split(',').nth(2).unwrap()[..16].replace('T', " ");
    assert!(list.contains(&at), "{at}");
}

#[tokio::test]
async fn a_water_shows_its_trend_and_whether_it_worked() {
    let (home, cookie) = twelve_weeks().await;
    let shown = page(&home, &cookie, &address(&home, "tidepool")).await;
    assert!(shown.contains("<svg") && shown.contains("course-line"));
    assert!(shown.contains("Did it work?"));
    // The page's policy allows no style of its own.
    assert!(!shown.contains("<style") && !shown.contains(" style="));
    let sheet = shown.split("/assets/history-").nth(1).unwrap();
    let sheet = format!("/assets/history-{}", sheet.split('"').next().unwrap());
    assert!(page(&home, "", &sheet).await.contains(".course-line{"));
}

#[tokio::test]
async fn nothing_one_and_bounds_only_are_fine() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let long = "x".repeat(190);
    let form = format!("name={long}&volume=12%2C5&medium=fresh&lives=&invertebrates=yes");
    let answer = home.post("/waters/new", &cookie, &form).await;
    let water = address(&home, &long);
    led(&answer, &water);
    let told = home.logbook().water(&long).unwrap();
    assert_eq!(told.volume_l, Some(12.5));
    assert!(told.invertebrates);
    assert!(
        page(&home, &cookie, &water)
            .await
            .contains("Nothing was read")
    );
    for (i, form) in [
        "test=nitrate&unit=mg/L&answer=below&value=2&plus_minus=&how=eye&at=2026-03-01T09:00&note=",
        "test=nitrate&unit=mg/L&answer=above&value=80&at=2026-03-02T09:00",
        "test=ph&unit=pH&answer=value&value=8.2&plus_minus=0.2&how=other&at=2026-03-02T09:00&note=%3Cb%3E",
    ]
    .iter()
    .enumerate()
    {
        let answer = home.post(&format!("{water}/reading"), &cookie, form).await;
        led(&answer, &format!("{water}#readings"));
        let shown = page(&home, &cookie, &water).await;
        assert!(shown.contains(&format!("id=\"r{}\"", i + 1)), "{shown}");
        assert!(!shown.contains("<b>"));
    }
    let readings = home.logbook().readings(&long, None).unwrap();
    assert_eq!(readings[0].1.answer, Amount::Below { high: 2.0 });
    assert_eq!(readings[0].1.source, Source::Eye);
    assert_eq!(readings[1].1.answer, Amount::Above { low: 80.0 });
    // No plan rests on a bound, and a pH does not mix.
    let plan = page(
        &home,
        &cookie,
        &format!("{water}/plan?test=nitrate&target=10"),
    )
    .await;
    assert!(plan.contains("that is a bound, no level to reckon with"));
    let plan = page(&home, &cookie, &format!("{water}/plan?test=ph&target=7")).await;
    assert!(plan.contains("does not mix by shares"));
}

#[tokio::test]
async fn a_reading_without_its_plus_minus_is_refused() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let water = address(&home, "tidepool");
    for (form, why) in [
        (
            "test=nitrate&unit=mg/L&answer=value&value=20",
            "needs its plus-minus",
        ),
        (
            "test=nitrate&unit=mg/L&answer=value&value=20&plus_minus=0",
            "needs its plus-minus",
        ),
        (
            "test=nitrate&unit=mg/L&answer=value&value=much&plus_minus=4",
            "is not understood",
        ),
        (
            "test=nitrate&unit=mg/L&answer=value&value=1,200&plus_minus=4",
            "write 1200 or 1.200",
        ),
        (
            "test=nitrate&unit=mg/L&answer=value&value=-5&plus_minus=1",
            "nitrate: the value is -5 mg/l, below 0",
        ),
        (
            "test=nitrate&unit=mg/L&answer=below&value=0",
            "nothing is below 0",
        ),
        (
            "test=+&unit=mg/L&answer=value&value=20&plus_minus=4",
            "the test is not told",
        ),
        (
            "test=nitrate&unit=mg/L&answer=value&value=20&plus_minus=4&at=soon",
            "is no time",
        ),
    ] {
        let answer = home.post(&format!("{water}/reading"), &cookie, form).await;
        let lower = answer.text().to_lowercase();
        assert_eq!(answer.status, 400, "{form}");
        assert!(lower.contains(why), "{form}: {lower}");
    }
    assert!(
        home.logbook()
            .readings("tidepool", None)
            .unwrap()
            .is_empty()
    );
}

#[tokio::test]
async fn copper_is_warned_of_before_it_is_logged() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let water = address(&home, "tidepool");
    let form = "substance=Copper+sulfate&amount=2&unit=mL&at=2026-03-01T09:00&note=";
    let path = format!("{water}/event/dose");
    let warned = home.post(&path, &cookie, form).await;
    assert_eq!(warned.status, 200);
    assert!(warned.text().contains("Invertebrates live in"));
    assert!(warned.text().contains("value=\"Copper sulfate\""));
    assert!(home.logbook().events("tidepool").unwrap().is_empty());
    let logged = home
        .post(&path, &cookie, &format!("{form}&anyway=yes"))
        .await;
    led(&logged, &format!("{water}#events"));
    let events = home.logbook().events("tidepool").unwrap();
    assert!(events[0].1.medicine);

    // A net that was in the copper goes to another water with invertebrates: warned as well.
    let moved = |kind: &str, more: &str| {
        (
            format!("{water}/event/{kind}"),
            format!("new_equipment=net&{more}"),
        )
    };
    let (path, form) = moved("equipment-in", "at=2026-02-01T09:00");
    led(
        &home.post(&path, &cookie, &form).await,
        &format!("{water}#events"),
    );
    home.post("/waters/new", &cookie, "name=touch+pool&invertebrates=yes")
        .await;
    let other = address(&home, "touch pool");
    let answer = home
        .post(
            &format!("{other}/event/equipment-in"),
            &cookie,
            "equipment=net&at=2026-03-05T09:00",
        )
        .await;
    refused(&answer, 200, "Copper sulfate");
    assert!(home.logbook().events("touch pool").unwrap().is_empty());
}

#[tokio::test]
async fn every_kind_of_event_has_a_form_that_works() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let water = address(&home, "tidepool");
    let list = page(&home, &cookie, &format!("{water}/event")).await;
    for (kind, form) in [
        ("water-change", "percent=25"),
        ("dose", "substance=calcium&amount=3&unit=g&medicine=yes"),
        ("feeding", "note=twice"),
        (
            "livestock-in",
            "substance=hermit+crab&amount=2&unit=animals",
        ),
        ("livestock-out", ""),
        ("media-in", "substance=carbon"),
        ("media-out", ""),
        ("equipment-in", "new_equipment=pump"),
        ("equipment-out", "equipment=pump"),
        ("other", "note=moved+a+rock"),
    ] {
        assert!(list.contains(&format!("{water}/event/{kind}")), "{kind}");
        page(&home, &cookie, &format!("{water}/event/{kind}")).await;
        // At the last one there is a warning: the pump comes after a medicine.
        let form = format!("{form}&at=2026-03-01T09:00&anyway=yes");
        let answer = home
            .post(&format!("{water}/event/{kind}"), &cookie, &form)
            .await;
        led(&answer, &format!("{water}#events"));
    }
    assert_eq!(home.logbook().events("tidepool").unwrap().len(), 10);
    for (kind, form, why) in [
        ("water-change", "percent=", "is not told"),
        ("water-change", "percent=130", "at most 100"),
        ("dose", "substance=", "what was dosed"),
        ("other", "note=", "a note"),
        ("livestock-in", "amount=3", "the unit of the amount"),
    ] {
        let answer = home
            .post(&format!("{water}/event/{kind}"), &cookie, form)
            .await;
        refused(&answer, 400, why);
    }
    refused(
        &home.get(&format!("{water}/event/party"), &cookie).await,
        404,
        "nothing",
    );
    let events = page(&home, &cookie, &format!("{water}/events?page=1")).await;
    assert_eq!(events.matches("/remove/e").count(), 10);
}

#[tokio::test]
async fn limits_are_set_and_taken_away() {
    let (home, cookie) = twelve_weeks().await;
    let water = address(&home, "tidepool");
    let path = format!("{water}/limits");
    let answer = home
        .post(&path, &cookie, "test=nitrate&unit=mg/L&low=&high=30")
        .await;
    led(&answer, &format!("{water}#limits"));
    assert!(
        page(&home, &cookie, &water)
            .await
            .contains("not over 30 mg/L")
    );
    refused(
        &home
            .post(&path, &cookie, "test=nitrate&unit=mg/L&low=9&high=3")
            .await,
        400,
        "",
    );
    home.post(&path, &cookie, "test=nitrate&unit=mg/L&low=&high=")
        .await;
    assert!(
        page(&home, &cookie, &water)
            .await
            .contains("No limits are set")
    );
}

/// The time zone of what is corrected stays, whatever that of this computer is.
#[tokio::test]
async fn what_is_corrected_keeps_what_was_there() {
    let (home, cookie) = twelve_weeks().await;
    let water = address(&home, "tidepool");
    home.post("/waters/new", &cookie, "name=hospital+tank")
        .await;
    let other = address(&home, "hospital tank");
    let (entry, before) = home.logbook().readings("tidepool", None).unwrap()[0].clone();
    let now = || {
        let logbook = home.logbook();
        let mut all = logbook.readings("tidepool", None).unwrap();
        all.extend(logbook.readings("hospital tank", None).unwrap());
        all.into_iter().find(|(e, _)| *e == entry).unwrap().1
    };
    let edit = format!("/edit/{entry}");
    assert!(
        page(&home, &cookie, &format!("{water}/readings"))
            .await
            .contains("/edit/r")
    );
    let form = page(&home, &cookie, &edit).await;
    let minute: String = before.at.to_string().chars().take(16).collect();
    assert!(form.contains(&format!("value=\"{minute}\"")), "{form}");
    // Nothing changed is no change.
    let as_it_was = format!("at={minute}&water=tidepool&note={}", before.note);
    let kept = home.logbook().changes().unwrap().len();
    led(
        &home.post(&edit, &cookie, &as_it_was).await,
        &format!("{water}#{entry}"),
    );
    assert_eq!(home.logbook().changes().unwrap().len(), kept);
    assert_eq!(now(), before);
    let told = "at=2026-01-02T03:04&water=tidepool&note=by+hand";
    led(
        &home.post(&edit, &cookie, told).await,
        &format!("{water}#{entry}"),
    );
    assert_eq!(now().note, "by hand");
    assert_eq!(
        now().at.to_string(),
        format!("2026-01-02T03:04:00{}", &before.at.to_string()[19..])
    );
    assert_eq!(now().answer, before.answer);
    // A browser ends lines with CR LF.
    let lines = "note=by+hand%0D%0Aagain";
    home.post(&edit, &cookie, lines).await;
    assert_eq!(now().note, "by hand\nagain");
    home.post(&edit, &cookie, lines).await;
    assert_eq!(home.logbook().changes().unwrap().len(), kept + 2);
    home.post(&edit, &cookie, "note=by+hand").await;
    assert_eq!(home.logbook().changes().unwrap().len(), kept + 3);
    led(
        &home
            .post(&edit, &cookie, "water=hospital+tank&note=by+hand")
            .await,
        &format!("{other}#{entry}"),
    );
    assert_eq!(now().water, "hospital tank");
    refused(
        &home.post(&edit, &cookie, "at=yesterday&note=").await,
        400,
        "yesterday",
    );
    // Neither a water nor what is not there has such a form.
    for path in [water.replace("/water/", "/edit/"), "/edit/r99999".into()] {
        assert_eq!(home.get(&path, &cookie).await.status, 404, "{path}");
        assert_eq!(home.post(&path, &cookie, "note=x").await.status, 404);
    }
}

/// Copper that is moved to a water with invertebrates is warned of as copper that is logged there.
#[tokio::test]
async fn copper_is_warned_of_before_it_is_moved() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    home.post("/waters/new", &cookie, "name=hospital+tank")
        .await;
    let dosed = address(&home, "hospital tank");
    let form = "substance=Copper+sulfate&amount=2&unit=mL&at=2026-03-01T09:00&note=";
    home.post(&format!("{dosed}/event/dose"), &cookie, form)
        .await;
    let (entry, _) = home.logbook().events("hospital tank").unwrap()[0].clone();
    let to = format!("/edit/{entry}");
    let told = "at=2026-03-01T09:00&water=tidepool&note=";
    refused(
        &home.post(&to, &cookie, told).await,
        200,
        "Invertebrates live in",
    );
    let water = || home.logbook().event(entry).unwrap().unwrap().water;
    assert_eq!(water(), "hospital tank");
    let tidepool = address(&home, "tidepool");
    led(
        &home.post(&to, &cookie, &format!("{told}&anyway=yes")).await,
        &format!("{tidepool}#{entry}"),
    );
    assert_eq!(water(), "tidepool");
}

#[tokio::test]
async fn what_is_removed_stays_in_the_history() {
    let (home, cookie) = twelve_weeks().await;
    let water = address(&home, "tidepool");
    let (entry, _) = home.logbook().readings("tidepool", None).unwrap()[0].clone();
    let asked = page(&home, &cookie, &format!("/remove/{entry}")).await;
    assert!(asked.contains("Remove it") && asked.contains("Keep it"));
    assert!(
        asked.contains("nitrate: ") && asked.contains("tidepool"),
        "{asked}"
    );
    let before = home.logbook().readings("tidepool", None).unwrap().len();
    let left = || home.logbook().readings("tidepool", None).unwrap().len();
    let remove = || async {
        let there = format!("{water}?removed={entry}");
        led(
            &home.post(&format!("/remove/{entry}"), &cookie, "").await,
            &there,
        );
        there
    };
    // It can be taken back at once, but not twice.
    let told = page(&home, &cookie, &remove().await).await;
    assert!(told.contains(&format!("{entry} is removed")), "{told}");
    assert_eq!(left(), before - 1);
    let back = format!("/restore/{entry}");
    assert!(told.contains(&format!("action=\"{back}\"")), "{told}");
    led(&home.post(&back, &cookie, "").await, &water);
    assert_eq!(left(), before);
    assert_eq!(home.post(&back, &cookie, "").await.status, 400);
    remove().await;
    assert_eq!(left(), before - 1);
    assert_eq!(home.logbook().changes().unwrap().len(), 3);
    // With a water go its entries, which is told before.
    let id = water.trim_start_matches("/water/").to_owned();
    let asked = page(&home, &cookie, &format!("/remove/{id}")).await;
    assert!(
        asked.contains(&format!("readings: {}", before - 1)),
        "{asked}"
    );
    // What is no entry leads nowhere.
    for path in [
        "/remove/x1",
        "/remove/r",
        "/picture/r99999",
        "/picture/e1",
        "/picture/..%2Fbook.sqlite",
        "/export/book.sqlite",
    ] {
        assert_eq!(home.get(path, &cookie).await.status, 404, "{path}");
    }
}

#[tokio::test]
async fn lists_have_pages() {
    let (home, cookie) = twelve_weeks().await;
    let water = address(&home, "tidepool");
    let all = home.logbook().readings("tidepool", None).unwrap();
    let mut shown = Vec::new();
    for n in 1..=all.len().div_ceil(20) {
        let page = page(&home, &cookie, &format!("{water}/readings?page={n}")).await;
        shown.extend(page.split("/remove/r").skip(1).map(|s| {
            let id = s.split('"').next().unwrap();
            format!("r{id}")
        }));
    }
    let mut wanted: Vec<String> = all.iter().map(|(e, _)| e.to_string()).collect();
    wanted.reverse();
    assert_eq!(shown, wanted);
    // Past the end there is nothing, and no fault.
    for n in ["0", "999", "18446744073709551615"] {
        page(&home, &cookie, &format!("{water}/readings?page={n}")).await;
    }
}

#[tokio::test]
async fn what_is_taken_along_is_whole() {
    let (home, cookie) = twelve_weeks().await;
    let json = home.get("/export/logbook.json", &cookie).await;
    assert!(json.header("content-disposition").starts_with("attachment"));
    let logbook = home.logbook();
    let readings = |name| logbook.readings(name, None).unwrap().len();
    let all = readings("tidepool") + readings("quarantine tank");
    let csv = home.get("/export/logbook.csv", &cookie).await;
    for whole in [Whole::from_json(&json.text()), Whole::from_csv(&csv.text())] {
        let folder = tempfile::TempDir::new().unwrap();
        let copy = folder.path().join("copy.sqlite");
        let mut copy = Logbook::open(&copy, "copy", Access::Create).unwrap();
        assert_eq!(
            whole.unwrap().import(&mut copy, &now()).unwrap().readings,
            all
        );
    }
    let water = address(&home, "tidepool");
    let report = home.get(&format!("{water}/report.html"), &cookie).await;
    assert!(report.header("content-disposition").contains("attachment"));
    assert!(report.text().contains("<svg") && report.text().contains("Content-Security-Policy"));
}

#[tokio::test]
async fn a_plan_says_what_the_command_line_says() {
    let (home, cookie) = twelve_weeks().await;
    let water = address(&home, "tidepool");
    let book = home.folder.path().join("book.sqlite");
    let said = assert_cmd::Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args([
            "plan",
            "change",
            "--log",
            "tidepool",
            "nitrate",
            "--target",
            "5",
            "--logbook",
        ])
        .arg(&book)
        .output()
        .unwrap();
    let said = String::from_utf8(said.stdout).unwrap();
    let first = said.lines().next().unwrap();
    let share = first
        .strip_prefix("Change ")
        .unwrap()
        .split(" of the water")
        .next()
        .unwrap();
    let plan = page(
        &home,
        &cookie,
        &format!("{water}/plan?test=nitrate&target=5"),
    )
    .await;
    assert!(plan.contains(share), "{share}: {plan}");
    assert!(plan.contains("no advice on treatment"));
    // The weeks ended long ago, and numbers are asked for in the test's unit.
    assert!(plan.contains("days old: test again"), "{plan}");
    assert!(plan.contains("Level to come down to, "), "{plan}");
    assert!(plan.contains("Test afterwards"));
    let daily = page(
        &home,
        &cookie,
        &format!("{water}/plan?test=nitrate&target=5&most_a_day=20"),
    )
    .await;
    assert!(daily.contains("days running"));
    let routine = page(
        &home,
        &cookie,
        &format!("{water}/plan?test=nitrate&share=25"),
    )
    .await;
    assert!(routine.contains("In the long run"), "{routine}");
    refused(
        &home.get(&format!("{water}/plan?target=-3"), &cookie).await,
        400,
        "above 0",
    );
    refused(
        &home.get(&format!("{water}/plan?share=130"), &cookie).await,
        400,
        "at most 100",
    );
}

/// Nothing of this is for those who are not paired, and no other site can post.
#[tokio::test]
async fn strangers_see_nothing() {
    let (home, cookie) = twelve_weeks().await;
    let water = address(&home, "tidepool");
    for path in [
        "/waters",
        "/waters/new",
        &water,
        "/picture/r1",
        "/export/logbook.json",
        "/calibrate",
        "/edit/r1",
        "/remove/r1",
    ] {
        assert_eq!(home.get(path, "").await.status, 403, "{path}");
    }
    for path in ["/edit/r1", "/remove/r1", "/waters/new", "/calibrate/finish"] {
        let request = home::ask(axum::http::Method::POST, path)
            .header("origin", "http://somewhere.example")
            .header("cookie", &cookie)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(axum::body::Body::from("name=x"))
            .unwrap();
        assert_eq!(home.send(request).await.status, 403, "{path}");
    }
}

#[tokio::test]
async fn german_is_spoken() {
    let (home, cookie) = twelve_weeks().await;
    let german = format!("{cookie}; tintwell-language=de");
    assert!(
        page(&home, &german, "/waters")
            .await
            .contains("Gewässer hinzufügen")
    );
    let water = address(&home, "tidepool");
    assert!(
        page(&home, &german, &water)
            .await
            .contains("Ereignis eintragen")
    );
}

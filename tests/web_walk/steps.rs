//! Choosing, and the steps with their timers.

use crate::home::{Home, chart};
use crate::page::Page;
use tintwell::chart::ReadWindow;
use tintwell::logbook::Water;

/// A service whose chart has a procedure.
fn home(procedure: Option<&str>, window: Option<(f64, f64)>) -> Home {
    let mut listed = chart();
    listed.chart.terms.procedure = procedure.map(str::to_owned);
    listed.chart.terms.read_window =
        window.map(|(from_min, to_min)| ReadWindow { from_min, to_min });
    Home::with_charts(Default::default(), vec![listed])
}

/// Where a link of the walk leads.
async fn follow(home: &Home, cookie: &str, link: &str) -> String {
    let answer = home.get(link, cookie).await;
    assert_eq!(answer.status, 303, "{link}: {}", answer.text());
    answer.header("location").to_owned()
}

/// Whoever comes from a water's page tests that water, and charts of one test are told apart.
#[tokio::test]
async fn the_first_page_knows_the_water_and_tells_charts_apart() {
    let (one, mut other) = (chart(), chart());
    other.name = "second".into();
    other.chart.terms.lot = Some("7 & 8".into());
    let home = Home::with_charts(Default::default(), vec![one, other]);
    let pond = Water {
        name: "pond".into(),
        volume_l: None,
        medium: None,
        lives: String::new(),
        invertebrates: false,
    };
    let entry = home.logbook().add_water(&pond).unwrap();
    let cookie = home.pair("phone").await;
    let water = Page::get(&home, &format!("/water/{entry}"), &cookie).await;
    let first = Page::get(&home, &water.link("Test the water"), &cookie).await;
    let chosen: Vec<&str> = first
        .all("option")
        .filter(|o| o.get("selected").is_some())
        .map(|o| o.text.as_str())
        .collect();
    assert_eq!(chosen, ["pond"]);
    let charts: Vec<&str> = first
        .all("option")
        .map(|o| o.text.as_str())
        .filter(|text| text.starts_with("nitrate"))
        .collect();
    assert_eq!(
        charts,
        [
            "nitrate, 0 to 80 mg/L, alder-creek-nitrate",
            "nitrate, 0 to 80 mg/L, lot 7 & 8, second"
        ]
    );
    let begin = "/walk?water=pond&chart=second&dilution=";
    assert!(
        Page::get(&home, begin, &cookie)
            .await
            .text()
            .contains("pond")
    );
}

#[tokio::test]
async fn the_walk_goes_step_by_step_and_keeps_its_times_in_the_address() {
    let home = home(
        Some("rinse; add 8 drops; shake 1 min; wait 5 min"),
        Some((5.0, 8.0)),
    );
    let cookie = home.pair("phone").await;
    let first = Page::get(&home, "/", &cookie).await;
    assert!(first.all("option").any(|o| o.text == "tidepool"));
    let begin = "/walk?water=tidepool&chart=alder-creek-nitrate&dilution=";

    let rinse = Page::get(&home, begin, &cookie).await;
    assert!(rinse.text().contains("step 1 of 4") && rinse.text().contains("gloves"));
    assert_eq!(
        rinse
            .all("div")
            .filter(|d| d.get("data-until").is_some())
            .count(),
        0
    );
    let drops = follow(&home, &cookie, &rinse.link("Done")).await;
    assert!(!drops.contains("started"), "{drops}");
    let drops = Page::get(&home, &drops, &cookie).await;
    // The last drop is in: the waiting counts.
    let shake = follow(&home, &cookie, &drops.link("Done")).await;
    assert!(shake.contains("started="), "{shake}");
    let idle = Page::get(&home, &shake, &cookie).await;
    let shaking = follow(&home, &cookie, &idle.link("Start 1 min")).await;

    // However often and late it is looked at, the timer ends at one time.
    let until = |page: &Page, name: &str| -> i64 {
        let timer = page.all("div").find_map(|d| d.get(name)).unwrap();
        timer.parse().unwrap()
    };
    let running = Page::get(&home, &shaking, &cookie).await;
    let end = until(&running, "data-until");
    assert_eq!(end - until(&running, "data-now"), 60_000);
    home.later(40);
    let reloaded = Page::get(&home, &shaking, &cookie).await;
    assert_eq!(until(&reloaded, "data-until"), end);
    assert_eq!(end - until(&reloaded, "data-now"), 20_000);
    home.later(25);
    assert!(
        Page::get(&home, &shaking, &cookie)
            .await
            .text()
            .contains("Time is up")
    );

    let wait = follow(&home, &cookie, &reloaded.link("Done")).await;
    let wait = Page::get(&home, &wait, &cookie).await;
    // Since the last drop, 65 of 300 seconds.
    assert_eq!(
        until(&wait, "data-until") - until(&wait, "data-now"),
        235_000
    );
    assert_eq!(
        until(&wait, "data-closes") - until(&wait, "data-until"),
        180_000
    );
    let photo = follow(&home, &cookie, &wait.link("To the photo")).await;
    home.later(300);
    let page = Page::get(&home, &photo, &cookie).await;
    assert!(page.text().contains("Take the photo now"));
    assert_eq!(page.field("water"), Some("tidepool"));
    let started = page.field("started").unwrap();
    assert!(
        started.parse::<jiff::civil::DateTime>().is_ok(),
        "{started}"
    );
    home.later(300);
    assert!(
        Page::get(&home, &photo, &cookie)
            .await
            .text()
            .contains("Too late")
    );
}

#[tokio::test]
async fn a_chart_without_a_procedure_has_the_usual_steps() {
    let home = home(None, None);
    let cookie = home.pair("phone").await;
    let mut at = "/walk?chart=alder-creek-nitrate".to_owned();
    let mut said = Vec::new();
    while at.starts_with("/walk") {
        let page = Page::get(&home, &at, &cookie).await;
        said.push(page.text().to_owned());
        let on = page
            .all("a")
            .find(|a| a.get("href").is_some_and(|h| h.starts_with("/walk/done")));
        at = follow(&home, &cookie, on.unwrap().get("href").unwrap()).await;
    }
    assert_eq!(said.len(), 4);
    assert!(said[0].contains("three times") && said[3].contains("shake"));
    assert!(at.starts_with("/photo?") && at.contains("started="), "{at}");
}

#[tokio::test]
async fn what_is_no_address_of_a_walk_is_refused() {
    let home = home(None, None);
    let cookie = home.pair("phone").await;
    for path in [
        "/walk?chart=none",
        "/walk?chart=alder-creek-nitrate&step=x",
        "/photo?chart=",
        "/by-hand?chart=../x",
        "/walk?chart=alder-creek-nitrate&dilution=much",
        "/photo?chart=alder-creek-nitrate&started=soon",
    ] {
        assert_eq!(home.get(path, &cookie).await.status, 400, "{path}");
    }
    // Far past the end is the last step.
    let far = format!("/walk?chart=alder-creek-nitrate&step={}", usize::MAX);
    assert!(
        Page::get(&home, &far, &cookie)
            .await
            .text()
            .contains("step 4 of 4")
    );
    let on = home
        .get(&far.replace("/walk?", "/walk/done?"), &cookie)
        .await;
    assert!(on.header("location").starts_with("/photo?"));
}

#[tokio::test]
async fn a_procedure_is_text_and_never_markup() {
    let home = home(Some("<script>alert(1)</script>; x"), None);
    let cookie = home.pair("phone").await;
    let page = Page::get(
        &home,
        "/walk?chart=alder-creek-nitrate&water=%22%3E%3Cimg%3E",
        &cookie,
    )
    .await;
    assert!(page.text().contains("<script>alert(1)</script>"));
    assert_eq!(page.all("script").count(), 1);
    assert_eq!(page.all("img").count(), 0);
}

#[tokio::test]
async fn a_language_is_chosen_and_stays() {
    let home = home(None, Some((5.0, 8.0)));
    let cookie = home.pair("phone").await;
    let first = Page::get(&home, "/", &cookie).await;
    assert_eq!(first.all("html").next().unwrap().get("lang"), Some("en"));
    let answer = home.get(&first.link("Deutsch"), &cookie).await;
    assert_eq!(
        (answer.status.as_u16(), answer.header("location")),
        (303, "/")
    );
    let chosen = answer
        .header("set-cookie")
        .split(';')
        .next()
        .unwrap()
        .to_owned();
    let both = format!("{cookie}; {chosen}");
    let german = Page::get(&home, "/", &both).await;
    assert_eq!(german.all("html").next().unwrap().get("lang"), Some("de"));
    assert!(german.text().contains("Wasser prüfen"));
    let other = home.get("/language?to=xx", &both).await;
    assert_eq!(
        (other.status.as_u16(), other.header("set-cookie")),
        (303, "")
    );
    // No English text of ours is left on any page of the way.
    let english: serde_json::Value =
        serde_json::from_str(include_str!("../../src/web/words/en.json")).unwrap();
    let same: serde_json::Value =
        serde_json::from_str(include_str!("../../src/web/words/de.json")).unwrap();
    for path in [
        "/",
        "/devices",
        "/pair",
        "/walk?chart=alder-creek-nitrate",
        "/walk?chart=alder-creek-nitrate&step=4&started=2026-09-21T12:00:00",
        "/photo?chart=alder-creek-nitrate",
        "/by-hand?chart=alder-creek-nitrate",
    ] {
        let page = Page::get(&home, path, &both).await;
        for (name, texts) in english.as_object().unwrap() {
            for (key, text) in texts.as_object().unwrap() {
                let text = text.as_str().unwrap();
                let differs = same[name][key] != text;
                // Single words are words of both, or parts of others.
                if differs && text.contains(' ') && !text.contains('{') {
                    assert!(!page.text().contains(text), "{path}: {name}.{key}: {text}");
                }
                assert!(
                    !page.html.contains(&format!("{name}.{key}<")),
                    "{path}: {name}.{key}"
                );
            }
        }
    }
}

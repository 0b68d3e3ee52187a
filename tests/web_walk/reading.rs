//! From the photo to the logbook, with the card and without.

use crate::home::{Answer, Home, Part, monday};
use crate::page::Page;

const CHART: Part = Part::Text("chart", "alder-creek-nitrate");
const WATER: Part = Part::Text("water", "tidepool");

fn photo(name: &str) -> Vec<u8> {
    std::fs::read(crate::home::file(&format!(
        "fixtures/alder-creek/week/{name}.jpg"
    )))
    .unwrap()
}

/// Where an upload leads.
fn to(answer: &Answer) -> String {
    assert_eq!(answer.status, 303, "{}", answer.text());
    answer.header("location").to_owned()
}

#[tokio::test]
async fn a_photo_gives_its_reading_and_is_saved_once() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let bytes = monday();
    let parts = [CHART, WATER, Part::Photo("1-mon.jpg", &bytes)];
    let at = to(&home.upload("/reading", &cookie, &parts).await);
    let page = Page::get(&home, &at, &cookie).await;
    let text = page.text();
    // As the command line says of the same photo.
    assert!(
        text.contains("17.0 mg/L") && text.contains("95 % interval"),
        "{text}"
    );
    assert!(text.contains("Trusted."), "{text}");
    let scale = page
        .all("svg")
        .find(|s| s.get("role") == Some("img"))
        .unwrap();
    let told = scale.get("aria-label").unwrap();
    assert!(told.contains("between 10 and 20"), "{told}");
    assert!(page.link("Take it again").contains("water=tidepool"));

    // Where it looked: small on the page, large behind a link.
    let small = page
        .all("img")
        .next()
        .unwrap()
        .get("src")
        .unwrap()
        .to_owned();
    let large = page
        .all("a")
        .find_map(|a| a.get("href").filter(|h| h.ends_with("large.png")))
        .unwrap()
        .to_owned();
    for (path, kind, magic) in [
        (small, "image/jpeg", &b"\xff\xd8"[..]),
        (large, "image/png", b"\x89PNG"),
    ] {
        let picture = home.get(&path, &cookie).await;
        assert_eq!(picture.header("content-type"), kind);
        assert!(picture.body.starts_with(magic), "{path}");
    }

    let save = format!("{at}/save");
    let saved = Page::sound(&home.post(&save, &cookie, "note=after+feeding").await);
    assert!(
        saved.text().contains("Saved for tidepool as r"),
        "{}",
        saved.text()
    );
    let logged = home.logbook().readings("tidepool", None).unwrap();
    assert_eq!(logged.len(), 1);
    assert_eq!(logged[0].1.note, "after feeding");
    assert!(logged[0].1.photo.as_deref() == Some("1-mon.jpg"));
    // Sent again, and read again: it is known by its photo.
    for _ in 0..2 {
        let at = to(&home.upload("/reading", &cookie, &parts).await);
        let again = Page::sound(&home.post(&format!("{at}/save"), &cookie, "note=").await);
        assert!(
            again.text().contains("already in the logbook"),
            "{}",
            again.text()
        );
    }
    assert_eq!(home.logbook().readings("tidepool", None).unwrap().len(), 1);
    // Where the language is switched on that page.
    assert_eq!(to(&home.get(&save, &cookie).await), at);
    home.later(3 * 60 * 60);
    assert_eq!(home.get(&at, &cookie).await.status, 404);
}

#[tokio::test]
async fn the_start_of_the_waiting_reaches_the_reading() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let bytes = monday();
    // Long before the photo: past any window. The shipped chart has one.
    let parts = [
        CHART,
        Part::Text("started", "2020-01-01T09:00:00"),
        Part::Photo("a.jpg", &bytes),
    ];
    let at = to(&home.upload("/reading", &cookie, &parts).await);
    let page = Page::get(&home, &at, &cookie).await;
    let has_window = crate::home::chart().chart.terms.read_window.is_some();
    assert_eq!(
        page.text().contains("its own clock the photo was taken on"),
        has_window,
        "{}",
        page.text()
    );
    assert!(page.link("Take it again").contains("started=2020-01-01T09"));
    // No water was chosen.
    let refused = home.post(&format!("{at}/save"), &cookie, "note=").await;
    assert_eq!(refused.status, 400);
    assert!(
        !page
            .all("form")
            .any(|f| f.get("action").is_some_and(|a| a.ends_with("/save")))
    );
}

#[tokio::test]
async fn photos_of_one_vial_become_one_reading() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let (a, b) = (monday(), photo("4-thu"));
    let parts = [CHART, WATER, Part::Photo("a.jpg", &a)];
    let first = to(&home.upload("/reading", &cookie, &parts).await);
    let page = Page::get(&home, &first, &cookie).await;
    let camera = Page::get(&home, &page.link("One more photo of this vial"), &cookie).await;
    let with = camera.field("with").unwrap();
    assert!(first.ends_with(with));
    let parts = [
        CHART,
        WATER,
        Part::Text("with", with),
        Part::Photo("b.jpg", &b),
    ];
    let both = to(&home.upload("/reading", &cookie, &parts).await);
    let page = Page::get(&home, &both, &cookie).await;
    // They are not of one vial, and that is said.
    assert!(
        page.text().contains("the 2 photos differ") || page.text().contains("The 2 photos differ"),
        "{}",
        page.text()
    );
    assert_eq!(page.all("img").count(), 2);
    Page::sound(&home.post(&format!("{both}/save"), &cookie, "").await);
    assert_eq!(home.logbook().readings("tidepool", None).unwrap().len(), 1);
    let gone = [CHART, Part::Text("with", "0123"), Part::Photo("b.jpg", &b)];
    assert_eq!(home.upload("/reading", &cookie, &gone).await.status, 404);
}

#[tokio::test]
async fn without_a_vial_there_is_no_reading_and_what_to_do() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let bytes = photo("7-sun");
    let parts = [CHART, WATER, Part::Photo("7-sun.jpg", &bytes)];
    let at = to(&home.upload("/reading", &cookie, &parts).await);
    let page = Page::get(&home, &at, &cookie).await;
    assert!(page.text().contains("No reading") && page.text().contains("Unreadable."));
    let saved = Page::sound(
        &home
            .post(&format!("{at}/save"), &cookie, "at=2026-03-01T10:00")
            .await,
    );
    assert!(saved.text().contains("no reading to rely on"));
    assert!(
        home.logbook()
            .readings("tidepool", None)
            .unwrap()
            .is_empty()
    );
    // The photo is still there to be touched.
    let mark = Page::get(
        &home,
        &page.link("Touch white and liquid on this photo"),
        &cookie,
    )
    .await;
    assert!(mark.text().contains("Touch the white paper"));
    let empty = home.upload("/reading", &cookie, &[CHART, WATER]).await;
    assert_eq!(empty.status, 400);
}

#[tokio::test]
async fn two_touches_give_a_reading_that_says_it_knows_less() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let bytes = monday();
    let parts = [CHART, WATER, Part::Photo("1-mon.jpg", &bytes)];
    let at = to(&home.upload("/by-hand", &cookie, &parts).await);
    let page = Page::get(&home, &at, &cookie).await;
    let button = page
        .all("input")
        .find(|i| i.get("type") == Some("image"))
        .unwrap();
    assert_eq!(
        (button.get("name"), button.get("width")),
        (Some("white"), Some("320"))
    );
    let picture = home.get(button.get("src").unwrap(), &cookie).await;
    assert_eq!(picture.header("content-type"), "image/jpeg");
    // A button that was pressed by the keyboard sends the corner: nothing was touched.
    let pressed = Page::get(&home, &format!("{at}?white.x=0&white.y=0"), &cookie).await;
    assert!(pressed.text().contains("Touch the white paper"));

    let (white, liquid) = TOUCHES;
    let second = Page::get(
        &home,
        &format!("{at}?white.x={}&white.y={}", white.0, white.1),
        &cookie,
    )
    .await;
    assert!(second.text().contains("Touch the liquid"));
    let boxed = second.field("white").unwrap();
    let check = format!("{at}?white={boxed}&vial.x={}&vial.y={}", liquid.0, liquid.1);
    let check = Page::get(&home, &check, &cookie).await;
    let numbers: Vec<String> = check
        .all("input")
        .map(|i| format!("{}={}", i.get("name").unwrap(), i.get("value").unwrap()))
        .collect();
    assert_eq!(numbers.len(), 8);
    let read = to(&home.post(&at, &cookie, &numbers.join("&")).await);
    let page = Page::get(&home, &read, &cookie).await;
    assert!(page.text().contains("less is known"), "{}", page.text());
    assert!(page.all("img").count() == 1);
    let value = page
        .all("p")
        .find(|p| p.get("class") == Some("value"))
        .unwrap();
    // The photo's truth is 16; by hand in the session's own light.
    let figure: f64 = value.text.split(' ').next().unwrap().parse().unwrap();
    assert!((8.0..30.0).contains(&figure), "{}", value.text);

    // A region that does not fit is told, and can be touched anew.
    let outside = numbers.join("&").replace("white_x=", "white_x=9");
    let read = to(&home.post(&at, &cookie, &outside).await);
    let page = Page::get(&home, &read, &cookie).await;
    assert!(
        page.text().contains("does not fit into the photo"),
        "{}",
        page.text()
    );
    page.link("Touch white and liquid on this photo");
}

/// White paper and liquid on the picture of Monday's photo as it is shown, 320 pixels wide; by eye.
const TOUCHES: ((f64, f64), (f64, f64)) = ((190.0, 140.0), (163.0, 173.0));

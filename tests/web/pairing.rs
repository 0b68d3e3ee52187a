//! Who is let in, and for how long.

use std::collections::HashSet;
use std::fs;

use axum::http::StatusCode;
use jiff::Timestamp;
use tintwell::web::devices::{Devices, Kind};
use tintwell::web::pairing::{Pairing, Refused};

use crate::home::Home;

#[tokio::test]
async fn a_word_lets_one_device_in() {
    let home = Home::new();
    let word = home.app.pairing().word();
    let form = format!("word={word}&name=phone");
    // Looking at the page uses nothing up.
    for _ in 0..3 {
        let page = home.get(&format!("/pair?word={word}"), "").await;
        assert_eq!(page.status, StatusCode::OK);
        assert!(
            page.text().contains(&format!("value=\"{word}\"")),
            "{}",
            page.text()
        );
    }
    let first = home.post("/pair", "", &form).await;
    assert_eq!(first.status, StatusCode::SEE_OTHER);
    let second = home
        .post("/pair", "", &form.replace("phone", "thief"))
        .await;
    assert_eq!(second.status, StatusCode::FORBIDDEN);
    assert_eq!(second.header("set-cookie"), "");
    let cookie = first.header("set-cookie").split(';').next().unwrap();
    assert_eq!(home.get("/", cookie).await.status, StatusCode::OK);
}

#[tokio::test]
async fn of_many_at_the_same_time_one_gets_in() {
    let home = Home::new();
    let word = home.app.pairing().word();
    let forms: Vec<String> = (0..4)
        .map(|i| format!("word={word}&name=phone{i}"))
        .collect();
    let (a, b, c, d) = tokio::join!(
        home.post("/pair", "", &forms[0]),
        home.post("/pair", "", &forms[1]),
        home.post("/pair", "", &forms[2]),
        home.post("/pair", "", &forms[3]),
    );
    let inside = [a, b, c, d]
        .iter()
        .filter(|x| x.status == StatusCode::SEE_OTHER)
        .count();
    assert_eq!(inside, 1);
}

#[tokio::test]
async fn the_cookie_is_no_business_of_scripts_and_strangers() {
    let home = Home::new();
    let word = home.app.pairing().word();
    let answer = home
        .post("/pair", "", &format!("word={word}&name=phone"))
        .await;
    let cookie = answer.header("set-cookie");
    let mut parts = cookie.split("; ");
    let token = parts.next().unwrap().strip_prefix("tintwell=").unwrap();
    assert_eq!(token.len(), 64, "256 bits in hexadecimal");
    let flags: HashSet<&str> = parts.collect();
    let wanted = ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=31536000"];
    assert_eq!(flags, HashSet::from(wanted));
    let stored = fs::read_to_string(home.folder.path().join("book-devices.json")).unwrap();
    assert!(
        stored.contains("phone") && !stored.contains(token),
        "{stored}"
    );
}

#[tokio::test]
async fn a_word_is_good_for_ten_minutes() {
    let home = Home::new();
    let word = home.app.pairing().word();
    home.later(9 * 60 + 59);
    assert_eq!(home.app.pairing().renew(home.app.now()).unwrap(), None);
    home.later(1);
    let late = home
        .post("/pair", "", &format!("word={word}&name=phone"))
        .await;
    assert_eq!(late.status, StatusCode::FORBIDDEN);
    let now = home.app.now();
    let next = home.app.pairing().renew(now).unwrap().expect("a new word");
    assert_ne!(next, word);
    let told = next.to_uppercase().replace('-', " ");
    let answer = home
        .post("/pair", "", &format!("word={told}&name=phone"))
        .await;
    assert_eq!(
        answer.status,
        StatusCode::SEE_OTHER,
        "case and hyphen do not matter"
    );
}

#[tokio::test]
async fn after_five_wrong_words_everybody_waits() {
    let home = Home::new();
    let word = home.app.pairing().word();
    for _ in 0..5 {
        let wrong = home.post("/pair", "", "word=aaaaa-aaaaa&name=x").await;
        assert_eq!(wrong.status, StatusCode::FORBIDDEN);
        home.later(2);
    }
    let right = format!("word={word}&name=phone");
    let waits = home.post("/pair", "", &right).await;
    assert_eq!(waits.status, StatusCode::TOO_MANY_REQUESTS);
    let seconds: i64 = waits.header("retry-after").parse().unwrap();
    assert!((50..=52).contains(&seconds), "{seconds}");
    home.later(seconds);
    let after = home.post("/pair", "", &right).await;
    assert_eq!(after.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn a_name_that_will_not_do_does_not_use_the_word_up() {
    let home = Home::new();
    home.pair("phone").await;
    home.app.pairing().renew(home.app.now()).unwrap();
    let word = home.app.pairing().word();
    for name in ["", "%20%20", "phone", "a%0Ab", &"x".repeat(41)] {
        let answer = home
            .post("/pair", "", &format!("word={word}&name={name}"))
            .await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{name}");
    }
    // Whether a name is taken is told to nobody who has not the word.
    let stranger = home.post("/pair", "", "word=bbbbb-bbbbb&name=phone").await;
    assert_eq!(stranger.status, StatusCode::FORBIDDEN);
    let answer = home
        .post("/pair", "", &format!("word={word}&name=tablet"))
        .await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn a_dropped_device_is_refused() {
    let home = Home::new();
    let phone = home.pair("my phone").await;
    let tablet = home.pair("tablet").await;
    let list = home.get("/devices", &tablet).await.text();
    assert!(
        list.contains("my phone") && list.contains("tablet"),
        "{list}"
    );
    let dropped = home.post("/devices/drop", &tablet, "name=my+phone").await;
    assert_eq!(dropped.status, StatusCode::SEE_OTHER);
    assert_eq!(home.get("/", &phone).await.status, StatusCode::FORBIDDEN);
    assert_eq!(home.get("/", &tablet).await.status, StatusCode::OK);
    // The command line drops it behind the service's back.
    let devices = Devices::beside(&home.folder.path().join("book.sqlite"));
    devices.drop("tablet").unwrap();
    assert_eq!(home.get("/", &tablet).await.status, StatusCode::FORBIDDEN);
    assert!(devices.drop("tablet").is_err());
}

#[tokio::test]
async fn a_device_stays_for_a_year_and_a_token_for_ever() {
    let home = Home::new();
    let phone = home.pair("phone").await;
    let devices = Devices::beside(&home.folder.path().join("book.sqlite"));
    let token = devices.add("script", Kind::Token, home.app.now()).unwrap();
    home.later(365 * 24 * 3600 - 1);
    assert_eq!(home.get("/", &phone).await.status, StatusCode::OK);
    home.later(1);
    assert_eq!(home.get("/", &phone).await.status, StatusCode::FORBIDDEN);
    let found = devices.find(&token, Kind::Token, home.app.now()).unwrap();
    assert_eq!(found.unwrap().name, "script");
}

#[tokio::test]
async fn a_damaged_file_of_devices_lets_nobody_in() {
    let home = Home::new();
    let phone = home.pair("phone").await;
    let path = home.folder.path().join("book-devices.json");
    let good = fs::read_to_string(&path).unwrap();
    for bad in [
        "",
        "{}",
        &good.replace("\"version\": 1", "\"version\": 2"),
        &good[..good.len() / 2],
    ] {
        fs::write(&path, bad).unwrap();
        let answer = home.get("/", &phone).await;
        assert_eq!(answer.status, StatusCode::INTERNAL_SERVER_ERROR, "{bad}");
        let folder = home.folder.path().to_string_lossy().into_owned();
        assert!(
            !answer.text().contains(&folder),
            "no path of this computer is told"
        );
    }
}

#[test]
fn words_are_plain_and_never_the_same() {
    let mut seen = HashSet::new();
    for _ in 0..500 {
        let word = Pairing::new(Timestamp::UNIX_EPOCH).unwrap().word();
        assert_eq!(word.len(), 11);
        assert!(
            word.chars()
                .all(|c| "23456789abcdefghjkmnpqrstuvwxyz-".contains(c)),
            "{word}"
        );
        seen.insert(word);
    }
    assert_eq!(seen.len(), 500);
}

#[test]
fn what_is_longer_than_the_word_is_not_the_word() {
    let now = Timestamp::UNIX_EPOCH;
    let mut pairing = Pairing::new(now).unwrap();
    let word = pairing.word();
    assert_eq!(pairing.check(&format!("{word}a"), now), Err(Refused::Wrong));
    assert_eq!(pairing.check(&word[..10], now), Err(Refused::Wrong));
    assert_eq!(pairing.check("", now), Err(Refused::Wrong));
    assert_eq!(pairing.check(&word, now), Ok(()));
}

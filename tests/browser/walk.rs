//! The walk through a test in the browser: timers, the photo, the reading, saving it; and the way without a card.

use std::time::{Duration, Instant};

use super::Everybody;
use super::driver::Driver;
use super::serve::{Served, fixture};

/// Seconds that a timer shows.
fn left(browser: &Driver) -> Option<u32> {
    let shown = browser
        .run("return document.querySelector('[data-count]:not([hidden])')?.textContent ?? ''");
    let (minutes, seconds) = shown.as_str()?.split_once(':')?;
    Some(60 * minutes.parse::<u32>().ok()? + seconds.parse::<u32>().ok()?)
}

/// Counts how often the page vibrates and makes a tone, and touches it where it asks for that before it may sound.
fn listen(browser: &Driver) {
    browser.run(
        "window.shaken = 0; window.tones = 0;
         Object.defineProperty(navigator, 'vibrate', {value: () => { window.shaken += 1; return true; }});
         const make = AudioContext.prototype.createOscillator;
         AudioContext.prototype.createOscillator = function () { window.tones += 1; return make.call(this); };",
    );
    if browser.run("return !document.querySelector('[data-sound]').hidden") == true {
        browser.click("[data-sound]");
    }
}

pub fn walk(browser: &Driver, served: &Served, everybody: &Everybody) {
    browser.go(&served.at("/"));
    browser.choose("select[name=water]", "tidepool");
    browser.choose("select[name=chart]", "timed");
    browser.press("Begin");
    browser.sees("5 drops of reagent");
    everybody.check(browser, "walk");
    browser.press("Done");
    browser.sees("shake for 8 s");
    browser.press("Start 8 s");
    browser.find("[data-count]:not([hidden])");
    let first = left(browser).expect("it counts");
    assert!((5..=8).contains(&first), "{first}");
    everybody.check(browser, "walk-timer");
    // The screen was locked for a while, or the page loaded anew: the time goes on.
    let start = Instant::now();
    std::thread::sleep(Duration::from_millis(1200));
    browser.reload();
    browser.find("h1");
    let later = left(browser).unwrap_or(0);
    let gone = start.elapsed().as_secs() as u32;
    assert!(
        later < first && later + gone + 8 >= first,
        "{first} then {later}"
    );
    listen(browser);
    browser.sees("Time is up");
    let heard = browser.run("return [window.shaken, window.tones, document.title]");
    assert_eq!(heard[0], 1, "it vibrates once: {heard}");
    assert!(
        heard[1].as_u64().is_some_and(|tones| tones >= 3),
        "it sounds three times: {heard}"
    );
    assert!(
        heard[2].as_str().is_some_and(|t| t.contains("Time is up")),
        "the title tells it: {heard}"
    );
    browser.press("To the photo");
    everybody.check(browser, "photo");
    browser.fill("#taken, #camera", &fixture("week/1-mon.jpg"));
    browser.press("Read it");
    browser.sees("17.0 mg/L");
    everybody.check(browser, "reading");
    browser.fill("[name=note]", "walked in the browser");
    browser.press("Save for tidepool");
    browser.sees("Saved for tidepool");
    everybody.check(browser, "saved");
    // It is in the history, with its picture.
    let water = served.water(browser, "tidepool");
    browser.go(&format!("{water}/readings"));
    browser.sees("walked in the browser");
    assert!(browser.text().contains("17.0 mg/L"));
    let picture = browser.run(
        "const i = document.querySelector('img'); i.loading = 'eager'; return i.decode().then(() => i.naturalWidth)",
    );
    assert!(picture.as_u64().unwrap() > 100, "{picture}");
    everybody.check(browser, "readings-with-picture");
}

pub fn no_card(browser: &Driver, served: &Served, everybody: &Everybody) {
    browser.go(&served.at("/"));
    browser.choose("select[name=chart]", "alder-creek-nitrate");
    browser.press("The vial is ready");
    browser.press("No card?");
    browser.fill("#camera", &fixture("week/1-mon.jpg"));
    browser.press("Go on");
    browser.sees("Touch the white paper");
    everybody.check(browser, "touch-white");
    browser.touch("input[type=image]", 190.0, 140.0);
    browser.sees("Touch the liquid");
    browser.touch("input[type=image]", 163.0, 173.0);
    browser.sees("Do the boxes fit?");
    everybody.check(browser, "boxes");
    browser.press("Read it");
    browser.sees("less is known");
    everybody.check(browser, "reading-without-card");
}

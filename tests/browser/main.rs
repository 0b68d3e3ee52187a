//! The page in a real browser of phone size: what a person does there, and whether everybody can.
//!
//! Needs Chromium with its driver, which is installed where that may be done; without it nothing is tested, which is told.
//! Pictures of all pages are kept in `target/browser/`, light and dark, for somebody to look at.

mod driver;
mod machine;
mod serve;
mod walk;

use std::cell::RefCell;
use std::time::Instant;

use driver::Driver;
use serve::Served;

/// Looks at pages as everybody has to be able to.
struct Everybody {
    axe: Option<String>,
    /// What was found wrong, so that one run tells all of it.
    wrong: RefCell<Vec<String>>,
}

impl Everybody {
    /// Checks the page that is shown, light and dark, and keeps pictures of it.
    fn check(&self, browser: &Driver, name: &str) {
        for scheme in ["light", "dark"] {
            browser.scheme(scheme);
            let wrong = browser.run(include_str!("checks.js"));
            self.found(name, scheme, &wrong);
            if let Some(axe) = &self.axe {
                browser.run(axe);
                let found = browser.run_async(
                    "const done = arguments[arguments.length - 1];
                     axe.run(document, { resultTypes: ['violations'] }).then(r => done(r.violations
                       .filter(v => ['serious', 'critical'].includes(v.impact))
                       .map(v => ({ id: v.id, help: v.help, where: v.nodes.map(n => n.html) }))));",
                );
                self.found(name, scheme, &found);
            }
            browser.keep_picture(&format!("{name}-{scheme}"));
        }
        browser.scheme("light");
    }

    /// The checks find what is wrong where something is: a button without a name, letters that are hardly seen.
    fn can_fail(&self, browser: &Driver) {
        let spoil = "const b = document.createElement('button'); b.id = 'spoilt'; document.querySelector('main').append(b);
                     const p = document.createElement('p'); p.textContent = 'faint'; p.className = 'spoilt'; document.querySelector('main').append(p);
                     const s = new CSSStyleSheet(); s.replaceSync('.spoilt { color: #ddd; background: #fff }'); document.adoptedStyleSheets = [s];";
        browser.run(spoil);
        self.check(browser, "spoilt");
        let told = self.wrong.take().join("\n");
        assert!(
            told.contains("no name") && told.contains("contrast"),
            "{told}"
        );
        if self.axe.is_some() {
            assert!(
                told.contains("button-name") && told.contains("color-contrast"),
                "{told}"
            );
        }
    }

    fn found(&self, name: &str, scheme: &str, wrong: &serde_json::Value) {
        if wrong.as_array().is_none_or(|all| !all.is_empty()) {
            let told = format!("{name}, {scheme}: {wrong:#}");
            self.wrong.borrow_mut().push(told);
        }
    }
}

#[test]
fn the_page_on_a_phone() {
    let Some(found) = machine::browser() else {
        eprintln!(
            "\n*** THE BROWSER TESTS DID NOT RUN: there is no chromium with chromedriver on this machine ***\n"
        );
        return;
    };
    let axe = machine::axe();
    if axe.is_none() {
        eprintln!(
            "*** axe-core cannot be had here: only the tests' own checks of accessibility ran ***"
        );
    }
    let everybody = Everybody {
        axe,
        wrong: RefCell::default(),
    };
    let start = Instant::now();
    let served = Served::start();
    let browser = match Driver::start(&found) {
        Ok(browser) => browser,
        Err(e) => {
            eprintln!(
                "\n*** THE BROWSER TESTS DID NOT RUN: chromium does not start here: {e} ***\n"
            );
            return;
        }
    };

    strangers_are_refused(&browser, &served, &everybody);
    pairing(&browser, &served, &everybody);
    history(&browser, &served, &everybody);
    event_changes_the_trend(&browser, &served, &everybody);
    forms(&browser, &served, &everybody);
    chart(&browser, &served, &everybody);
    walk::walk(&browser, &served, &everybody);
    walk::no_card(&browser, &served, &everybody);
    let wrong = everybody.wrong.take();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    println!("browser tests took {:.0} s", start.elapsed().as_secs_f64());
}

fn strangers_are_refused(browser: &Driver, served: &Served, everybody: &Everybody) {
    browser.go(&served.at("/waters"));
    browser.sees("This device is not paired");
    assert!(!browser.text().contains("tidepool"));
    everybody.check(browser, "refused");
}

fn pairing(browser: &Driver, served: &Served, everybody: &Everybody) {
    browser.go(&served.pairing);
    everybody.can_fail(browser);
    browser.reload();
    everybody.check(browser, "pair");
    browser.fill("input[name=name]", "phone of the test");
    browser.click("button");
    browser.sees("Test the water");
    assert_eq!(browser.url(), served.at("/"));
    everybody.check(browser, "first");
    browser.go(&served.at("/devices"));
    browser.sees("phone of the test");
    everybody.check(browser, "devices");
}

fn history(browser: &Driver, served: &Served, everybody: &Everybody) {
    browser.go(&served.at("/waters"));
    browser.sees("quarantine tank");
    everybody.check(browser, "waters");
    browser.press("tidepool");
    browser.sees("Did it work?");
    let plot = browser.run(
        "const svg = document.querySelector('.course svg'), box = svg.getBoundingClientRect();
         return [box.width, box.height, getComputedStyle(svg.querySelector('.course-ground')).fill,
                 getComputedStyle(svg.querySelector('.course-line')).stroke];",
    );
    assert!(
        plot[0].as_f64().unwrap() > 300.0 && plot[1].as_f64().unwrap() > 200.0,
        "{plot}"
    );
    // Its stylesheet came through the page's policy: else all of it is black.
    assert_eq!(plot[2], "rgb(255, 255, 255)");
    assert_ne!(plot[3], "none");
    everybody.check(browser, "water");
    browser.press("All ");
    browser.sees("Page 1 of");
    everybody.check(browser, "readings");
}

fn event_changes_the_trend(browser: &Driver, served: &Served, everybody: &Everybody) {
    let water = served.water(browser, "tidepool");
    let before = browser.text();
    browser.press("Log an event");
    everybody.check(browser, "events");
    browser.press("Filter material in");
    browser.fill("input[name=substance]", "a bag of carbon, in the test");
    browser.set("input[name=at]", "2026-02-20T10:00");
    everybody.check(browser, "event");
    browser.press("Log it");
    browser.sees("a bag of carbon, in the test");
    assert_eq!(browser.url(), format!("{water}#events"));
    let after = browser.text();
    let asked = |text: &str| {
        let line = text.lines().find(|l| l.starts_with("Did it work?"));
        line.unwrap_or_default().to_owned()
    };
    assert_ne!(asked(&before), asked(&after));
    assert!(
        asked(&after).contains("a bag of carbon"),
        "{}",
        asked(&after)
    );
    let drawn = browser.run("return document.querySelector('.course svg').textContent");
    assert!(
        drawn.as_str().unwrap().contains("a bag of carbon"),
        "{drawn}"
    );

    // Copper in a water with invertebrates is stopped first.
    browser.go(&format!("{water}/event/dose"));
    browser.fill("input[name=substance]", "copper");
    browser.press("Log it");
    browser.sees("Stop: read this first");
    everybody.check(browser, "copper");
    browser.press("Log that it is in");
    assert!(browser.text().contains("Stop"), "the box is not ticked yet");
    browser.click("input[name=anyway]");
    browser.press("Log that it is in");
    browser.sees("(medicine)");
}

fn forms(browser: &Driver, served: &Served, everybody: &Everybody) {
    let water = served.water(browser, "tidepool");
    for (path, name) in [
        ("/reading", "by-eye"),
        ("/limits", "limits"),
        ("/plan?test=nitrate&target=5&most_a_day=20&share=25", "plan"),
    ] {
        browser.go(&format!("{water}{path}"));
        everybody.check(browser, name);
    }
    browser.go(&served.at("/waters/new"));
    everybody.check(browser, "new-water");
    let long = "Wide ".repeat(30) + &"w".repeat(45);
    browser.fill("input[name=name]", &long);
    browser.press("Add it");
    browser.sees("Nothing was read of this water yet");
    everybody.check(browser, "empty-water");
    browser.press("Remove this water");
    everybody.check(browser, "remove");
    browser.press("Remove it");
    browser.sees("quarantine tank");
    assert!(!browser.text().contains("wwwww"));
    // The other language.
    browser.go(&served.at("/waters"));
    browser.press("Deutsch");
    browser.go(&water);
    browser.sees("Messungen");
    everybody.check(browser, "water-german");
    browser.press("English");
}

fn chart(browser: &Driver, served: &Served, everybody: &Everybody) {
    browser.go(&served.at("/calibrate"));
    everybody.check(browser, "calibrate");
    browser.fill("input[name=test]", "nitrate of the test");
    browser.fill("input[name=values]", "0 5 10 40");
    browser.press("Begin");
    browser.sees("Next: the vial of 0 mg/L");
    for (next, photo) in [
        ("5", "nitrate-00-a.jpg"),
        ("10", "nitrate-05-a.jpg"),
        ("40", "nitrate-10-a.jpg"),
    ] {
        browser.fill(
            "input[name=photo]",
            &serve::fixture(&format!("standards/{photo}")),
        );
        browser.press("Use this photo");
        browser.sees(&format!("Next: the vial of {next} mg/L"));
    }
    browser.sees("told apart from 5 mg/L");
    browser.fill(
        "input[name=photo]",
        &serve::fixture("standards/nitrate-10-a.jpg"),
    );
    browser.press("Use this photo");
    browser.sees("was given already");
    everybody.check(browser, "calibrating");
    browser.fill(
        "input[name=photo]",
        &serve::fixture("standards/nitrate-40-a.jpg"),
    );
    browser.press("Use this photo");
    browser.sees("Every standard has a photo");
    browser.press("Finish the chart");
    browser.sees("The chart is ready");
    everybody.check(browser, "chart-ready");
}

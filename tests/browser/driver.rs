//! A browser of phone size, driven by WebDriver (W3C): JSON over HTTP, no more of it than the tests need.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::machine::{Browser, folder};

/// The key of an element in WebDriver's JSON (W3C WebDriver, section 12.1).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";
/// How long something is waited for.
const PATIENCE: Duration = Duration::from_secs(15);

pub struct Driver {
    child: Child,
    port: u16,
    session: String,
    _profile: TempDir,
}

impl Driver {
    /// Starts the browser; an error if this machine cannot run it.
    pub fn start(browser: &Browser) -> Result<Driver, String> {
        let mut child = Command::new(&browser.driver)
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts");
        let mut lines = BufReader::new(child.stdout.take().expect("its output"))
            .lines()
            .map_while(Result::ok);
        let port = lines
            .find_map(|l| {
                l.rsplit_once("successfully on port ")?
                    .1
                    .trim_end_matches('.')
                    .parse()
                    .ok()
            })
            .expect("chromedriver tells its port");
        // It ends when nobody reads what it says.
        std::thread::spawn(move || lines.for_each(drop));
        let profile = TempDir::new().expect("a folder");
        let mut driver = Driver {
            child,
            port,
            session: String::new(),
            _profile: profile,
        };
        let data = driver._profile.path().display().to_string();
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "browserName": "chrome",
            "timeouts": {"pageLoad": 30_000, "script": 30_000},
            "goog:chromeOptions": {
                "binary": browser.chromium,
                "args": ["--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu",
                         "--hide-scrollbars", "--lang=en", format!("--user-data-dir={data}")],
                "mobileEmulation": {"deviceMetrics": {"width": 360, "height": 740, "pixelRatio": 2.0, "touch": true}}
            }
        }}});
        let made = driver.ask("POST", "/session", Some(wanted))?;
        driver.session = made["sessionId"].as_str().expect("a session").to_owned();
        Ok(driver)
    }

    /// A command; its value, or the error that it gives.
    fn ask(&self, method: &str, path: &str, body: Option<Value>) -> Result<Value, String> {
        let body = body.map(|b| b.to_string()).unwrap_or_default();
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).map_err(|e| e.to_string())?;
        // Longer than any command may take.
        stream
            .set_read_timeout(Some(Duration::from_secs(60)))
            .map_err(|e| e.to_string())?;
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\
             Connection: close\r\n\r\n",
            self.port,
            body.len()
        );
        let sent = stream
            .write_all(head.as_bytes())
            .and_then(|()| stream.write_all(body.as_bytes()));
        sent.map_err(|e| e.to_string())?;
        let mut answer = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            answer.read_line(&mut line).map_err(|e| e.to_string())?;
            if line.trim().is_empty() {
                break;
            }
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().map_err(|_| line.clone())?;
            }
        }
        let mut bytes = vec![0; length];
        answer.read_exact(&mut bytes).map_err(|e| e.to_string())?;
        let json: Value = serde_json::from_slice(&bytes).map_err(|e| e.to_string())?;
        match json["value"]["error"].as_str() {
            Some(error) => Err(format!("{error}: {}", json["value"]["message"])),
            None => Ok(json["value"].clone()),
        }
    }

    fn call(&self, method: &str, path: &str, body: Option<Value>) -> Value {
        self.ask(method, path, body)
            .unwrap_or_else(|e| panic!("{method} {path}: {e}"))
    }

    fn at(&self, path: &str) -> String {
        format!("/session/{}{path}", self.session)
    }

    pub fn go(&self, url: &str) {
        self.call("POST", &self.at("/url"), Some(json!({ "url": url })));
    }

    pub fn reload(&self) {
        self.call("POST", &self.at("/refresh"), Some(json!({})));
    }

    pub fn url(&self) -> String {
        self.call("GET", &self.at("/url"), None)
            .as_str()
            .unwrap_or_default()
            .to_owned()
    }

    /// Runs a script in the page and gives what it returns.
    pub fn run(&self, script: &str) -> Value {
        self.call(
            "POST",
            &self.at("/execute/sync"),
            Some(json!({ "script": script, "args": [] })),
        )
    }

    /// The same for a script that calls back.
    pub fn run_async(&self, script: &str) -> Value {
        self.call(
            "POST",
            &self.at("/execute/async"),
            Some(json!({ "script": script, "args": [] })),
        )
    }

    /// A command of the browser's own protocol.
    pub fn devtools(&self, command: &str, params: Value) -> Value {
        let body = json!({ "cmd": command, "params": params });
        self.call("POST", &self.at("/goog/cdp/execute"), Some(body))
    }

    /// The first element of a selector, once it is there.
    pub fn find(&self, css: &str) -> String {
        let wanted = json!({ "using": "css selector", "value": css });
        let end = Instant::now() + PATIENCE;
        loop {
            match self.ask("POST", &self.at("/element"), Some(wanted.clone())) {
                Ok(found) => return found[ELEMENT].as_str().expect("an element").to_owned(),
                Err(e) if Instant::now() > end => {
                    panic!("{css} at {}: {e}\n{}", self.url(), self.text())
                }
                Err(_) => std::thread::sleep(Duration::from_millis(100)),
            }
        }
    }

    pub fn click(&self, css: &str) {
        let element = self.find(css);
        self.call(
            "POST",
            &self.at(&format!("/element/{element}/click")),
            Some(json!({})),
        );
    }

    /// Follows the link, or presses the button, that shows this text, once it is there.
    pub fn press(&self, text: &str) {
        let quoted = json!(text);
        let look = format!(
            "const all = [...document.querySelectorAll('a, button, summary')];
             const one = all.find(e => e.textContent.trim() === {quoted}) ?? all.find(e => e.textContent.includes({quoted}));
             if (one) one.scrollIntoView({{block: 'center'}});
             return one ?? null;"
        );
        let end = Instant::now() + PATIENCE;
        loop {
            if let Some(element) = self.run(&look)[ELEMENT].as_str() {
                let click = self.at(&format!("/element/{element}/click"));
                self.call("POST", &click, Some(json!({})));
                return;
            }
            assert!(
                Instant::now() < end,
                "nothing says \"{text}\" at {}\n{}",
                self.url(),
                self.text()
            );
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Types into a field, or gives a file to one.
    pub fn fill(&self, css: &str, text: &str) {
        let element = self.find(css);
        self.call(
            "POST",
            &self.at(&format!("/element/{element}/value")),
            Some(json!({ "text": text })),
        );
    }

    /// Sets a field that has a picker.
    pub fn set(&self, css: &str, value: &str) {
        self.run(&format!(
            "document.querySelector({}).value = {}",
            json!(css),
            json!(value)
        ));
    }

    /// Chooses from a list by value.
    pub fn choose(&self, css: &str, value: &str) {
        self.find(css);
        let chosen = self.run(&format!(
            "const list = document.querySelector({}); list.value = {}; return list.value;",
            json!(css),
            json!(value)
        ));
        assert_eq!(chosen, value, "{css}");
    }

    /// Touches an element so many pixels from its left upper corner.
    pub fn touch(&self, css: &str, x: f64, y: f64) {
        let element = self.find(css);
        self.run(&format!(
            "document.querySelector({}).scrollIntoView({{block: 'center'}})",
            json!(css)
        ));
        let size = self.run(&format!(
            "const b = document.querySelector({}).getBoundingClientRect(); return [b.width, b.height]",
            json!(css)
        ));
        let half = |i: usize| size[i].as_f64().expect("a size") / 2.0;
        let to = json!({"type": "pointerMove", "duration": 0, "origin": { ELEMENT: element },
            "x": (x - half(0)).round(), "y": (y - half(1)).round()});
        let finger = json!({"type": "pointer", "id": "finger", "parameters": {"pointerType": "touch"},
            "actions": [to, {"type": "pointerDown", "button": 0}, {"type": "pointerUp", "button": 0}]});
        self.call(
            "POST",
            &self.at("/actions"),
            Some(json!({ "actions": [finger] })),
        );
    }

    /// What the page shows.
    pub fn text(&self) -> String {
        self.run("return document.body.innerText")
            .as_str()
            .unwrap_or_default()
            .to_owned()
    }

    /// Waits until the page shows this.
    pub fn sees(&self, text: &str) {
        let end = Instant::now() + PATIENCE;
        while !self.text().contains(text) {
            assert!(
                Instant::now() < end,
                "\"{text}\" is not shown at {}\n{}",
                self.url(),
                self.text()
            );
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    /// Light or dark, as the phone is set.
    pub fn scheme(&self, scheme: &str) {
        let feature = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.devtools("Emulation.setEmulatedMedia", feature);
    }

    /// A picture of the whole page, kept for somebody to look at.
    pub fn keep_picture(&self, name: &str) {
        let whole = json!({"format": "png", "captureBeyondViewport": true, "fromSurface": true,
            "clip": {"x": 0, "y": 0, "width": 360, "scale": 1,
                     "height": self.run("return Math.min(4000, document.documentElement.scrollHeight)")}});
        let taken = self.devtools("Page.captureScreenshot", whole);
        let bytes = STANDARD
            .decode(taken["data"].as_str().expect("a picture"))
            .expect("base64");
        fs::write(folder().join(format!("{name}.png")), bytes).expect("a picture is kept");
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // Ends the browser, then its driver.
        let _ = self.ask("DELETE", &self.at(""), None);
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

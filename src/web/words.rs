//! What the pages say: one table a language, and which of them an asker reads.
//!
//! Keys are `page.text`; `{name}` in a text is filled in. What the library itself says (flags, errors, names of tests) is English
//! in every language.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::fmt::Display;
use std::sync::LazyLock;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};

/// The cookie that holds a chosen language.
pub(super) const COOKIE: &str = "tintwell-language";

/// Texts by page, then by name.
type Pages = BTreeMap<String, BTreeMap<String, String>>;

/// English first: what is taken where nothing fits.
static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    [
        ("en", include_str!("words/en.json")),
        ("de", include_str!("words/de.json")),
    ]
    .into_iter()
    .map(|(code, json)| Table {
        code,
        // A test reads the tables that are built in.
        pages: serde_json::from_str(json).unwrap_or_default(),
    })
    .collect()
});

#[derive(Debug)]
struct Table {
    code: &'static str,
    pages: Pages,
}

/// The texts of one language. As an argument of a handler it is the one of the asker.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words(&'static Table);

impl Words {
    /// The language that was chosen, or that the browser asks for first among those there are.
    pub(super) fn of(headers: &HeaderMap) -> Words {
        let chosen = headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|v| v.to_str().ok())
            .flat_map(|v| v.split(';'))
            .find_map(|c| Words::named(c.trim().strip_prefix(COOKIE)?.strip_prefix('=')?));
        let asked = headers
            .get(header::ACCEPT_LANGUAGE)
            .and_then(|v| v.to_str().ok());
        chosen
            .or_else(|| asked.and_then(first_asked))
            .unwrap_or(Words(&TABLES[0]))
    }

    /// The language of a code such as `de`.
    pub(super) fn named(code: &str) -> Option<Words> {
        TABLES.iter().find(|t| t.code == code).map(Words)
    }

    /// All languages.
    pub(super) fn all() -> impl Iterator<Item = Words> {
        TABLES.iter().map(Words)
    }

    /// The code of the language, as in HTML's `lang`.
    pub(super) fn code(self) -> &'static str {
        self.0.code
    }

    /// The text of a key such as `walk.title`. A key that is not there is shown as it is; a test finds it.
    pub(super) fn say(self, key: &'static str) -> &'static str {
        key.split_once('.')
            .and_then(|(page, name)| self.0.pages.get(page)?.get(name))
            .map_or(key, String::as_str)
    }

    /// The same with its places filled in: `("n", &3)` for `{n}`.
    pub(super) fn fill(self, key: &'static str, places: &[(&str, &dyn Display)]) -> String {
        let mut rest = self.say(key);
        let mut text = String::new();
        // From left to right, so that what is filled in is never looked at again.
        while let Some((before, name, after)) = place(rest) {
            text += before;
            match places.iter().find(|(n, _)| *n == name) {
                Some((_, value)) => text += &value.to_string(),
                None => text += &format!("{{{name}}}"),
            }
            rest = after;
        }
        text + rest
    }
}

/// The first `{name}` of a text, with what is before and after it.
fn place(text: &str) -> Option<(&str, &str, &str)> {
    let (before, rest) = text.split_once('{')?;
    let (name, after) = rest.split_once('}')?;
    Some((before, name, after))
}

/// The best of an `Accept-Language` (RFC 9110, section 12.5.4) that there is.
fn first_asked(list: &str) -> Option<Words> {
    let mut ranges: Vec<(&str, f32)> = list
        .split(',')
        .filter_map(|range| {
            let (tag, weight) = match range.split_once(';') {
                None => (range, 1.0),
                Some((tag, q)) => (tag, q.trim().strip_prefix("q=")?.parse().ok()?),
            };
            (weight > 0.0).then_some((tag.trim(), weight))
        })
        .collect();
    // Stable: of equal weights the first stays first.
    ranges.sort_by(|a, b| b.1.total_cmp(&a.1));
    ranges
        .iter()
        .find_map(|(tag, _)| Words::named(&tag.split('-').next()?.to_ascii_lowercase()))
}

impl<S: Sync> FromRequestParts<S> for Words {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Words, Infallible> {
        Ok(Words::of(&parts.headers))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// Every key of a table with the names of its places.
    fn keys(words: Words) -> BTreeMap<String, BTreeSet<&'static str>> {
        let pages = words.0.pages.iter();
        pages
            .flat_map(|(page, texts)| {
                texts.iter().map(move |(name, text)| {
                    let mut names = BTreeSet::new();
                    let mut rest = text.as_str();
                    while let Some((_, name, after)) = place(rest) {
                        names.insert(name);
                        rest = after;
                    }
                    (format!("{page}.{name}"), names)
                })
            })
            .collect()
    }

    #[test]
    fn tables_have_the_same_keys_and_places() {
        let [english, german] = ["en", "de"].map(|c| keys(Words::named(c).unwrap()));
        assert!(english.len() > 20, "{}", english.len());
        assert_eq!(english, german);
        for words in Words::all() {
            for (page, texts) in &words.0.pages {
                for (name, text) in texts {
                    assert!(!text.trim().is_empty(), "{page}.{name}");
                }
            }
        }
    }

    #[test]
    fn the_language_is_the_chosen_one_or_the_first_asked_for() {
        let code = |pairs: &[(header::HeaderName, &'static str)]| {
            let mut headers = HeaderMap::new();
            for (name, value) in pairs {
                headers.insert(name, value.parse().unwrap());
            }
            Words::of(&headers).code()
        };
        assert_eq!(code(&[]), "en");
        assert_eq!(code(&[(header::ACCEPT_LANGUAGE, "de-AT,en;q=0.8")]), "de");
        assert_eq!(
            code(&[(header::ACCEPT_LANGUAGE, "fr, en;q=0.3, de;q=0.7")]),
            "de"
        );
        assert_eq!(code(&[(header::ACCEPT_LANGUAGE, "de;q=0, fr")]), "en");
        assert_eq!(code(&[(header::ACCEPT_LANGUAGE, ";;,q=,")]), "en");
        assert_eq!(
            code(&[
                (header::ACCEPT_LANGUAGE, "de"),
                (header::COOKIE, "tintwell=0a; tintwell-language=en")
            ]),
            "en"
        );
        assert_eq!(code(&[(header::COOKIE, "tintwell-language=xx")]), "en");
    }

    #[test]
    fn places_are_filled_in_once() {
        let english = Words::named("en").unwrap();
        assert_eq!(
            english.fill("layout.named", &[("title", &"{title}")]),
            "{title} - Tintwell"
        );
        assert_eq!(english.say("layout.nothing"), "layout.nothing");
    }
}

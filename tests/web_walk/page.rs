//! A page taken apart: parsed as browsers do, and checked for what every page must have.

use std::collections::BTreeSet;
use std::rc::Rc;

use html5ever::tendril::TendrilSink;
use markup5ever_rcdom::{Handle, NodeData, RcDom};

use crate::home::{Answer, Home};

pub struct Page {
    pub html: String,
    elements: Vec<Element>,
}

pub struct Element {
    pub name: String,
    attributes: Vec<(String, String)>,
    pub text: String,
    /// Names of what it is in, from the outside in.
    within: Vec<String>,
}

impl Element {
    pub fn get(&self, name: &str) -> Option<&str> {
        let found = self.attributes.iter().find(|(n, _)| n == name);
        found.map(|(_, value)| value.as_str())
    }
}

impl Page {
    /// Takes a page that was answered with success, and checks it.
    pub fn sound(answer: &Answer) -> Page {
        assert_eq!(answer.status, 200, "{}", answer.text());
        let page = Page::parsed(answer.text());
        page.check();
        page
    }

    pub async fn get(home: &Home, path: &str, cookie: &str) -> Page {
        Page::sound(&home.get(path, cookie).await)
    }

    fn parsed(html: String) -> Page {
        let dom = html5ever::parse_document(RcDom::default(), Default::default()).one(html.clone());
        let errors = dom.errors.borrow();
        assert!(errors.is_empty(), "{errors:?}\n{html}");
        let mut elements = Vec::new();
        collect(&dom.document, &mut Vec::new(), &mut elements);
        Page { html, elements }
    }

    pub fn all<'p>(&'p self, name: &'p str) -> impl Iterator<Item = &'p Element> {
        self.elements.iter().filter(move |e| e.name == name)
    }

    /// The link with this text.
    pub fn link(&self, text: &str) -> String {
        let links: Vec<_> = self.all("a").filter(|a| a.text.trim() == text).collect();
        assert_eq!(links.len(), 1, "{text}: {}", self.html);
        links[0].get("href").unwrap().to_owned()
    }

    /// The value of the only field of a name.
    pub fn field(&self, name: &str) -> Option<&str> {
        self.all("input")
            .find(|i| i.get("name") == Some(name))
            .and_then(|i| i.get("value"))
    }

    /// Everything that is read, without marks.
    pub fn text(&self) -> &str {
        &self.all("body").next().unwrap().text
    }

    fn check(&self) {
        let html = &self.html;
        let ids: Vec<&str> = self.elements.iter().filter_map(|e| e.get("id")).collect();
        let different: BTreeSet<&&str> = ids.iter().collect();
        assert_eq!(ids.len(), different.len(), "ids are unique: {ids:?}");
        assert!(self.all("html").all(|e| e.get("lang").is_some()), "{html}");
        assert_eq!(self.all("h1").count(), 1, "{html}");
        assert_eq!(self.all("main").count(), 1, "{html}");
        assert!(!self.all("title").next().unwrap().text.trim().is_empty());
        for img in self.all("img") {
            assert!(img.get("alt").is_some_and(|a| !a.is_empty()), "{html}");
        }
        for e in &self.elements {
            let field = matches!(e.name.as_str(), "input" | "select" | "textarea");
            let kind = e.get("type").unwrap_or("text");
            if field && !matches!(kind, "hidden" | "image") {
                let labelled = self
                    .all("label")
                    .any(|l| l.get("for").is_some() && l.get("for") == e.get("id"));
                assert!(
                    labelled || e.within.iter().any(|w| w == "label"),
                    "{kind}: {html}"
                );
            }
            if kind == "image" {
                assert!(e.get("alt").is_some_and(|a| !a.is_empty()), "{html}");
            }
            if matches!(e.name.as_str(), "a" | "button" | "summary") {
                assert!(!e.text.trim().is_empty(), "{}: {html}", e.name);
            }
            for reference in ["aria-describedby", "aria-labelledby", "for", "data-preview"] {
                if let Some(id) = e.get(reference) {
                    assert!(ids.contains(&id), "{reference} {id}: {html}");
                }
            }
            // The policy would not let them through.
            assert!(
                e.get("style").is_none() && e.get("onclick").is_none(),
                "{html}"
            );
        }
        // Headings go down one at a time.
        let mut level = 0;
        for e in &self.elements {
            if let Some(n) = e.name.strip_prefix('h').and_then(|n| n.parse::<u32>().ok()) {
                assert!(n <= level + 1, "{html}");
                level = n;
            }
        }
    }
}

fn collect(node: &Handle, within: &mut Vec<String>, out: &mut Vec<Element>) -> String {
    let mut text = String::new();
    let (mut place, mut pushed) = (None, false);
    match &node.data {
        NodeData::Text { contents } => text.push_str(&contents.borrow()),
        NodeData::Element { name, attrs, .. } => {
            let attributes = attrs.borrow();
            let attributes = attributes
                .iter()
                .map(|a| (a.name.local.to_string(), a.value.to_string()));
            place = Some(out.len());
            out.push(Element {
                name: name.local.to_string(),
                attributes: attributes.collect(),
                text: String::new(),
                within: within.clone(),
            });
            within.push(name.local.to_string());
            pushed = true;
        }
        _ => {}
    }
    for child in node.children.borrow().iter() {
        text += &collect(&Rc::clone(child), within, out);
    }
    if pushed {
        within.pop();
    }
    if let Some(place) = place {
        out[place].text = text.clone();
        // What stands in two elements is not one word.
        text.push(' ');
    }
    text
}

//! The pages of a test, from choosing the water to the logbook: what they say, what they keep, and whether they are sound HTML that
//! a screen reader can use. What photos read as is tested elsewhere; the drawing of pages needs a browser.

#[path = "../web/home.rs"]
#[allow(dead_code)]
mod home;
mod page;
mod reading;
mod steps;

//! What is refused before anything is done, and what every answer carries.

use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use tintwell::web::devices::{Devices, Kind};

use crate::home::{HOST, Home, ORIGIN, Part, ask};

#[tokio::test]
async fn who_is_not_paired_sees_how_to_pair_and_no_more() {
    let home = Home::new();
    for path in ["/", "/devices", "/nowhere", "/reading"] {
        for cookie in ["", "tintwell=", "tintwell=0000", "other=1; tintwell=x"] {
            let answer = home.get(path, cookie).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path} {cookie}");
            assert!(
                answer.text().contains("tintwell serve"),
                "{}",
                answer.text()
            );
            assert!(!answer.text().contains("nitrate"));
        }
    }
    let parts = [Part::Text("chart", "nitrate")];
    let refused = home.upload("/api/reading", "", &parts).await;
    assert!(refused.refusal(403).contains("not paired"));
    assert_eq!(refused.header("content-type"), "application/json");
}

#[tokio::test]
async fn a_name_of_somebody_else_is_not_answered() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let with = |hosts: &[&str]| {
        let mut request = Request::builder().uri("/").header("cookie", &cookie);
        for host in hosts {
            request = request.header("host", *host);
        }
        request.body(Body::empty()).unwrap()
    };
    for hosts in [
        &[][..],
        &["evil.example:8464"],
        &["127.0.0.1"],
        &["127.0.0.1:80"],
        &["127.0.0.1:8464.evil.example"],
        &[HOST, "evil.example"],
        &[""],
    ] {
        let answer = home.send(with(hosts)).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{hosts:?}");
    }
    for host in [HOST, "localhost:8464", "LOCALHOST:8464"] {
        assert_eq!(home.send(with(&[host])).await.status, StatusCode::OK);
    }
}

#[tokio::test]
async fn what_a_page_of_somebody_else_sends_is_refused() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    home.pair("tablet").await;
    let drop = |headers: &[(&str, &str)]| {
        let mut request = ask(Method::POST, "/devices/drop")
            .header("cookie", &cookie)
            .header("content-type", "application/x-www-form-urlencoded");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(Body::from("name=tablet")).unwrap()
    };
    for headers in [
        &[][..],
        &[("origin", "null")],
        &[("origin", "http://evil.example")],
        &[("origin", "http://127.0.0.1:8464.evil.example")],
        &[("origin", "http://127.0.0.1:9000")],
        &[("origin", "https://127.0.0.1:8464")],
        // Another of our own names is another origin.
        &[("origin", "http://localhost:8464")],
        &[("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("origin", ORIGIN), ("sec-fetch-site", "cross-site")],
    ] {
        let answer = home.send(drop(headers)).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN, "{headers:?}");
    }
    assert!(
        home.get("/devices", &cookie)
            .await
            .text()
            .contains("tablet")
    );
    let ours = home
        .send(drop(&[
            ("origin", ORIGIN),
            ("sec-fetch-site", "same-origin"),
        ]))
        .await;
    assert_eq!(ours.status, StatusCode::SEE_OTHER);
    assert!(
        !home
            .get("/devices", &cookie)
            .await
            .text()
            .contains("tablet")
    );
}

#[tokio::test]
async fn tokens_open_the_endpoint_alone() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let devices = Devices::beside(&home.folder.path().join("book.sqlite"));
    let token = devices.add("script", Kind::Token, home.app.now()).unwrap();
    let with = |path: &str, token: &str| {
        let request = ask(Method::GET, path).header("authorization", format!("Bearer {token}"));
        request.body(Body::empty()).unwrap()
    };
    let status = async |path, token| home.send(with(path, token)).await.status;
    assert_eq!(status("/api/openapi.json", &token).await, StatusCode::OK);
    assert_eq!(status("/", &token).await, StatusCode::FORBIDDEN);
    let of_cookie = cookie.strip_prefix("tintwell=").unwrap();
    assert_eq!(
        status("/api/openapi.json", of_cookie).await,
        StatusCode::FORBIDDEN
    );
    let as_cookie = home.get("/", &format!("tintwell={token}")).await;
    assert_eq!(as_cookie.status, StatusCode::FORBIDDEN);
    // A wrong token is not made up for by a cookie.
    let both = ask(Method::GET, "/api/openapi.json")
        .header("authorization", "Bearer no")
        .header("cookie", &cookie);
    let both = home.send(both.body(Body::empty()).unwrap()).await;
    assert_eq!(both.status, StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn every_answer_carries_its_policy() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let page = home.get("/", &cookie).await;
    let assets = linked(&page.text());
    assert_eq!(assets.len(), 2, "a stylesheet and a script: {assets:?}");
    let mut answers = vec![
        page,
        home.get("/", "").await,
        home.get("/nowhere", &cookie).await,
        home.get("/reading", &cookie).await,
        home.post("/devices/drop", &cookie, "name=nobody").await,
        home.post("/devices/drop", &cookie, "nonsense").await,
        home.get("/api/openapi.json", &cookie).await,
        home.get("/api/nowhere", &cookie).await,
    ];
    let statuses: Vec<u16> = answers.iter().map(|a| a.status.as_u16()).collect();
    assert_eq!(statuses, [200, 403, 404, 405, 400, 422, 200, 404]);
    for answer in &answers {
        assert_eq!(answer.header("cache-control"), "no-store");
    }
    for path in &assets {
        // Anybody may have them: the page that refuses needs them.
        let asset = home.get(path, "").await;
        assert_eq!(asset.status, StatusCode::OK, "{path}");
        assert!(asset.header("cache-control").contains("immutable"));
        answers.push(asset);
    }
    for answer in answers {
        let policy = answer.header("content-security-policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ] {
            assert!(policy.split("; ").any(|p| p == part), "{policy}");
        }
        assert!(!policy.contains("unsafe") && !policy.contains("http"));
        assert_eq!(answer.header("x-content-type-options"), "nosniff");
        assert_eq!(answer.header("referrer-policy"), "same-origin");
        assert_ne!(answer.header("content-type"), "");
    }
}

#[tokio::test]
async fn pages_need_nothing_that_their_policy_forbids() {
    let home = Home::new();
    let cookie = home.pair("%3Cb%3E%22phone%22%3C%2Fb%3E").await;
    for path in [
        "/",
        "/devices",
        "/pair?word=%22%3E%3Cscript%3Ealert(1)%3C/script%3E",
    ] {
        let page = home.get(path, &cookie).await;
        assert_eq!(page.status, StatusCode::OK);
        let text = page.text();
        assert!(
            !text.contains("style=\"") && !text.contains("<style"),
            "{text}"
        );
        assert!(
            !text.contains("<b>") && !text.contains("alert(1)</script>"),
            "{text}"
        );
        let inline = text
            .split("<script")
            .skip(1)
            .any(|s| !s.starts_with(" src=\"/assets/"));
        assert!(!inline, "{text}");
        assert!(
            !text.contains("http://") && !text.contains("https://"),
            "{text}"
        );
    }
}

/// What a page loads.
fn linked(page: &str) -> Vec<String> {
    page.split('"')
        .filter(|p| p.starts_with("/assets/"))
        .map(str::to_owned)
        .collect()
}

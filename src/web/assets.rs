//! The stylesheet and the script, built in. Their names carry a hash of their content: they may be kept for ever, and a new
//! version is fetched at once.

use std::sync::LazyLock;

use axum::Router;
use axum::http::header;
use axum::response::IntoResponse;
use axum::routing::get;

use super::state::Shared;
use crate::photo::sha256;
use crate::report::course::picture::stylesheet;

/// A file that pages load.
pub(super) struct Asset {
    /// Where it is.
    pub(super) path: String,
    kind: &'static str,
    content: String,
}

impl Asset {
    fn new(stem: &str, ending: &str, kind: &'static str, content: String) -> Asset {
        let hash = sha256(content.as_bytes());
        Asset {
            path: format!("/assets/{stem}-{}.{ending}", &hash[..12]),
            kind,
            content,
        }
    }
}

/// The stylesheet of all pages.
pub(super) static STYLE: LazyLock<Asset> = LazyLock::new(|| {
    Asset::new(
        "style",
        "css",
        "text/css; charset=utf-8",
        include_str!("assets/style.css").into(),
    )
});

/// What the pages about waters have beside it: the colours of plots among it.
pub(super) static HISTORY: LazyLock<Asset> = LazyLock::new(|| {
    let content = include_str!("assets/history.css").to_owned() + &stylesheet() + "\n";
    Asset::new("history", "css", "text/css; charset=utf-8", content)
});

/// The script of all pages; they work without it.
pub(super) static SCRIPT: LazyLock<Asset> = LazyLock::new(|| {
    Asset::new(
        "script",
        "js",
        "text/javascript; charset=utf-8",
        include_str!("assets/script.js").into(),
    )
});

/// `/assets/...`.
pub(super) fn routes() -> Router<Shared> {
    [&*STYLE, &*HISTORY, &*SCRIPT]
        .into_iter()
        .fold(Router::new(), |router, asset| {
            router.route(&asset.path, get(move || async move { serve(asset) }))
        })
}

fn serve(asset: &'static Asset) -> impl IntoResponse {
    (
        [
            (header::CONTENT_TYPE, asset.kind),
            (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
        ],
        asset.content.as_str(),
    )
}

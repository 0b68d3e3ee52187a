//! `--timings`: how long each stage of reading took.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use tracing::span::{Attributes, Id};
use tracing::{Metadata, Subscriber};
use tracing_subscriber::layer::{Context, SubscriberExt};
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::{Layer, Registry};

use super::say;
use crate::stage;

/// Option of commands that read photos.
#[derive(clap::Args)]
pub(super) struct TimingsArgs {
    /// Tell on standard error how long each stage took
    #[arg(long)]
    timings: bool,
}

/// Times spent in each stage, by the order of [`stage::ALL`], over all threads.
type Spent = Arc<Mutex<[(usize, Duration); stage::ALL.len()]>>;

/// Listens while it lives; tells at the end.
pub(super) struct Timings {
    spent: Spent,
    start: Instant,
}

impl TimingsArgs {
    /// Listens from now on, if the option is given.
    pub(super) fn start(&self) -> Option<Timings> {
        if !self.timings {
            return None;
        }
        let spent = Spent::default();
        let listener = Registry::default().with(Listener(spent.clone()));
        tracing::subscriber::set_global_default(listener).ok()?;
        Some(Timings {
            spent,
            start: Instant::now(),
        })
    }
}

impl Drop for Timings {
    fn drop(&mut self) {
        let whole = self.start.elapsed();
        let spent = self.spent.lock().unwrap_or_else(|e| e.into_inner());
        let mut text = String::from("stage         times      ms each     ms in all");
        for (name, (times, time)) in stage::ALL.iter().zip(*spent) {
            if times > 0 {
                let ms = 1e3 * time.as_secs_f64();
                let each = ms / times as f64;
                text += &format!("\n{name:<12} {times:>6} {each:>12.1} {ms:>13.1}");
            }
        }
        text += &format!(
            "\n{:<12} {:>6} {:>12} {:>13.1}",
            "from start",
            "",
            "",
            1e3 * whole.as_secs_f64()
        );
        say(&text);
    }
}

/// Adds up how long spans of stages are open.
struct Listener(Spent);

/// When a span was opened.
struct Opened(Instant);

fn stage_of(span: &Metadata) -> Option<usize> {
    stage::ALL.iter().position(|s| *s == span.name())
}

impl<S: Subscriber + for<'a> LookupSpan<'a>> Layer<S> for Listener {
    fn on_new_span(&self, _: &Attributes<'_>, id: &Id, context: Context<'_, S>) {
        if let Some(span) = context.span(id) {
            span.extensions_mut().insert(Opened(Instant::now()));
        }
    }

    fn on_close(&self, id: Id, context: Context<'_, S>) {
        let Some(span) = context.span(&id) else {
            return;
        };
        let opened = span.extensions().get::<Opened>().map(|o| o.0);
        if let (Some(stage), Some(opened)) = (stage_of(span.metadata()), opened) {
            let mut spent = self.0.lock().unwrap_or_else(|e| e.into_inner());
            spent[stage].0 += 1;
            spent[stage].1 += opened.elapsed();
        }
    }
}

//! What all requests share: logbook, charts, devices, limits and the turns in which photos are read.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, RwLock};
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::Semaphore;

use super::charts::keep;
use super::devices::Devices;
use super::kept::Kept;
use super::pairing::Pairing;
use super::refusal::Refusal;
use super::session::Sessions;
use crate::card::design::Design;
use crate::chart::Chart;
use crate::error::{Error, Result};
use crate::face::files::shown;
use crate::logbook::{Access, Logbook};

/// What tells the time.
pub type Clock = Arc<dyn Fn() -> Timestamp + Send + Sync>;

/// The service's state, as handlers take it.
pub type Shared = Arc<App>;

/// What a request may cost.
#[derive(Debug, Clone)]
pub struct Limits {
    /// Largest body with a photo, bytes.
    pub upload_bytes: usize,
    /// Largest body of a plain form, bytes.
    pub form_bytes: usize,
    /// Largest field of a form that is no photo, bytes.
    pub field_bytes: usize,
    /// Most parts of a form.
    pub parts: usize,
    /// Photos that are read at a time.
    pub readings: usize,
    /// Photos that may wait for their turn, in memory, beside those.
    pub waiting: usize,
    /// Connections at a time; more are closed at once.
    pub connections: usize,
    /// For the whole head of a request, and for a connection that is kept open without one.
    pub head_time: Duration,
    /// For the whole body of a request.
    pub body_time: Duration,
    /// From one piece of a body to the next.
    pub idle_time: Duration,
    /// For a connection as a whole.
    pub connection_time: Duration,
}

impl Default for Limits {
    /// Phones save photos of 2 to 25 MB, raw ones apart. Half a minute is enough for the largest at 20 Mbit/s; a weak
    /// network at the other end of the house gets four times that.
    fn default() -> Limits {
        Limits {
            upload_bytes: 64 << 20,
            form_bytes: 64 << 10,
            field_bytes: 4 << 10,
            parts: 24,
            readings: std::thread::available_parallelism().map_or(1, usize::from),
            waiting: 4,
            connections: 128,
            head_time: Duration::from_secs(10),
            body_time: Duration::from_secs(120),
            idle_time: Duration::from_secs(20),
            connection_time: Duration::from_secs(600),
        }
    }
}

/// A chart, and the name it is asked for by.
#[derive(Debug, Clone)]
pub struct Listed {
    /// The stem of its file's name.
    pub name: String,
    pub chart: Chart,
}

/// What the service is started with.
pub struct Settings {
    /// The logbook's file; the devices are kept beside it.
    pub logbook: PathBuf,
    pub charts: Vec<Listed>,
    /// Where charts that are made on a phone are kept; made when it is needed.
    pub charts_folder: PathBuf,
    /// Names with port under which it may be reached, such as `127.0.0.1:8464`.
    pub hosts: Vec<String>,
    pub limits: Limits,
    pub clock: Clock,
}

/// What all requests share.
pub struct App {
    logbook: PathBuf,
    charts: RwLock<Vec<Arc<Listed>>>,
    /// Where charts that are made here are kept.
    charts_folder: PathBuf,
    /// Charts that are being made.
    pub(super) sessions: Sessions,
    designs: Vec<Design>,
    pub(super) hosts: Vec<String>,
    pub(super) limits: Limits,
    pub(super) devices: Devices,
    pairing: Mutex<Pairing>,
    /// What pages show of photos that are not logged yet.
    pub(super) kept: Kept,
    /// One for each photo in memory.
    pub(super) uploads: Arc<Semaphore>,
    /// One for each photo that is being read.
    pub(super) readings: Arc<Semaphore>,
    clock: Clock,
}

impl App {
    /// The state to begin with.
    ///
    /// # Errors
    /// If two charts have one name, or the system gives no random numbers.
    pub fn new(settings: Settings) -> Result<Shared> {
        let Settings {
            logbook,
            charts,
            charts_folder,
            hosts,
            limits,
            clock,
        } = settings;
        for (i, a) in charts.iter().enumerate() {
            if charts[..i].iter().any(|b| b.name == a.name) {
                return Err(Error::new(
                    format!("two charts have the name {}", a.name),
                    "rename one of the files",
                ));
            }
        }
        let pairing = Pairing::new(clock())?;
        Ok(Arc::new(App {
            devices: Devices::beside(&logbook),
            logbook,
            charts: RwLock::new(charts.into_iter().map(Arc::new).collect()),
            charts_folder,
            sessions: Sessions::default(),
            designs: Design::all(),
            hosts,
            pairing: Mutex::new(pairing),
            kept: Kept::default(),
            uploads: Arc::new(Semaphore::new(limits.readings + limits.waiting)),
            readings: Arc::new(Semaphore::new(limits.readings)),
            limits,
            clock,
        }))
    }

    /// The time.
    pub fn now(&self) -> Timestamp {
        (self.clock)()
    }

    /// Does something with the logbook, opened anew (SQLite lets any number read while one writes), on a thread that may wait for
    /// the disk.
    ///
    /// # Errors
    /// If the logbook cannot be opened, that the computer has failed; else that the request is refused because of the error.
    pub(super) async fn in_logbook<T: Send + 'static>(
        &self,
        work: impl FnOnce(Logbook) -> Result<T> + Send + 'static,
    ) -> std::result::Result<T, Refusal> {
        let path = self.logbook.clone();
        let worked = tokio::task::spawn_blocking(move || {
            let logbook = Logbook::open(&path, &shown(&path), Access::Read);
            work(logbook.map_err(Refusal::failed)?).map_err(Refusal::because)
        });
        worked.await.unwrap_or_else(|_| {
            Err(Refusal::failed(Error::new(
                "the program failed at the logbook",
                "report this fault",
            )))
        })
    }

    /// The charts of this moment, in the order given, then in that in which they were made.
    pub fn charts(&self) -> Vec<Arc<Listed>> {
        // Whoever panicked while holding it has added a chart or not.
        self.charts
            .read()
            .unwrap_or_else(|e| e.into_inner())
            .clone()
    }

    /// Keeps a chart that was made here, under a name of our own, for all from now on.
    ///
    /// # Errors
    /// If it cannot be written.
    pub(super) fn keep_chart(&self, chart: Chart) -> Result<Arc<Listed>> {
        let mut charts = self.charts.write().unwrap_or_else(|e| e.into_inner());
        let taken: Vec<&str> = charts.iter().map(|c| c.name.as_str()).collect();
        let name = keep(&self.charts_folder, &taken, &chart, self.now())?;
        let listed = Arc::new(Listed { name, chart });
        charts.push(listed.clone());
        Ok(listed)
    }

    /// The card designs that are looked for.
    pub fn designs(&self) -> &[Design] {
        &self.designs
    }

    /// The pairing of new devices.
    pub fn pairing(&self) -> MutexGuard<'_, Pairing> {
        // Whoever panicked while holding it has left a word that is good or used.
        self.pairing.lock().unwrap_or_else(|e| e.into_inner())
    }
}

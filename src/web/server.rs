//! The sockets: connections taken, each within its time, and no more of them than are held.
//!
//! Plain HTTP/1.1. A certificate that phones would trust cannot be had for an address at home; what crosses the home network is
//! photos of vials and a cookie that opens nothing else.

use std::io;
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::time::{sleep, timeout};

use super::state::Limits;

/// Longest head of a request, bytes; hyper's own least.
const HEAD_BYTES: usize = 16 << 10;
/// Most fields of a head.
const HEAD_FIELDS: usize = 64;

/// The addresses of this computer in its networks: private ones first, which are those at home.
///
/// # Errors
/// If the system does not tell them.
pub fn addresses() -> io::Result<Vec<Ipv4Addr>> {
    let mut found: Vec<Ipv4Addr> = if_addrs::get_if_addrs()?
        .iter()
        .filter_map(|interface| match interface.ip() {
            IpAddr::V4(ip) if !ip.is_loopback() && !ip.is_link_local() => Some(ip),
            _ => None,
        })
        .collect();
    found.sort_by_key(|ip| !ip.is_private());
    Ok(found)
}

/// Serves until the listener fails for good.
///
/// # Errors
/// What the system says.
pub async fn serve(listener: TcpListener, app: Router, limits: &Limits) -> io::Result<()> {
    let places = Arc::new(Semaphore::new(limits.connections));
    let time = limits.connection_time;
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new())
        .header_read_timeout(limits.head_time)
        .max_headers(HEAD_FIELDS)
        .max_buf_size(HEAD_BYTES);
    loop {
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            Err(e) if passes(&e) => {
                // Out of file handles, as a rule: some are free again soon.
                sleep(limits.head_time / 100).await;
                continue;
            }
            Err(e) => return Err(e),
        };
        let Ok(place) = places.clone().try_acquire_owned() else {
            continue;
        };
        let service = TowerToHyperService::new(app.clone());
        let connection = http.serve_connection(TokioIo::new(stream), service);
        tokio::spawn(async move {
            // A client that breaks off, or is too slow, is nobody's fault here.
            let _ = timeout(time, connection).await;
            drop(place);
        });
    }
}

/// Whether a failed accept says nothing about the listener itself.
fn passes(e: &io::Error) -> bool {
    use io::ErrorKind::*;
    let client = matches!(
        e.kind(),
        ConnectionAborted | ConnectionReset | ConnectionRefused | Interrupted | WouldBlock
    );
    // EMFILE and ENFILE (POSIX) have no kind of their own.
    client || matches!(e.raw_os_error(), Some(23 | 24))
}

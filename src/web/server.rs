//! The sockets: connections taken, each within its time, and no more of them than are held.
//!
//! Plain HTTP/1.1. A certificate that phones would trust cannot be had for an address at home; what crosses the home network is
//! photos of vials and a cookie that opens nothing else.

use std::io;
use std::net::{IpAddr, Ipv4Addr, UdpSocket};
use std::sync::Arc;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::time::{sleep, timeout};

use super::state::Limits;

/// Longest head of a request, bytes; those of browsers are under 2 KB.
const HEAD_BYTES: usize = 16 << 10;
/// Most fields of a head.
const HEAD_FIELDS: usize = 64;

/// The addresses of this computer in its networks: first the one that leads outside, then private ones.
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
    let main = towards_outside();
    found.sort_by_key(|ip| (Some(*ip) != main, !ip.is_private()));
    Ok(found)
}

/// The address that other networks are reached from; a computer with bridges for containers has several.
fn towards_outside() -> Option<Ipv4Addr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address for documentation (RFC 5737): nothing is sent, the system only chooses the way.
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    match socket.local_addr().ok()?.ip() {
        IpAddr::V4(ip) => Some(ip),
        IpAddr::V6(_) => None,
    }
}

/// Serves until the listener fails for good, and gives what the system says then.
pub async fn serve(listener: TcpListener, app: Router, limits: &Limits) -> io::Error {
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
            Err(e) => return e,
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

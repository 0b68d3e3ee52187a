//! The page on the phone: who is let in, what is refused, what the endpoint says, and what all of it costs.
//!
//! Requests go to the service itself, without a socket and with a clock that is set by hand; `load.rs` alone opens sockets. What
//! the photos read as is tested elsewhere.

mod api;
mod doors;
mod home;
mod load;
mod pairing;
mod uploads;

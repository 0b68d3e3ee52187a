//! `tintwell serve`: the page on the phone.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use anstyle::{AnsiColor, Style};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;

use super::files::{load_chart, plain, same};
use super::log::LogbookArgs;
use super::{Done, Exit, Stop, put, say};
use crate::error::{Error, Result};
use crate::logbook::Access;
use crate::report::text::clean;
use crate::web::devices::{Devices, Kind};
use crate::web::pairing::GOOD_FOR;
use crate::web::state::{App, Limits, Listed, Settings, Shared};
use crate::web::{self, charts, server};

const EXAMPLES: &str = "\
Examples:
  tintwell serve
  tintwell serve --chart nitrate.json
  tintwell serve --chart nitrate.json ammonia.json --lan
  tintwell serve --devices
  tintwell serve --drop \"my phone\"
  tintwell serve --token script

The address that is printed holds a word that lets one device in, once and within ten minutes; then a new one is printed. With \
--lan everybody in the home network can reach the page, but only paired devices are let in. Do not serve it to the internet: \
nothing is encrypted.

For programs: POST /api/reading (described by /api/openapi.json), with \"Authorization: Bearer TOKEN\".";

/// The port, free of known services as far as we know (common practice: over 1024).
const PORT: u16 = 8464;

/// Serve the page on the phone
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Chart files, as written by `tintwell calibrate`
    #[arg(long, value_name = "FILE", num_args = 1..)]
    chart: Vec<PathBuf>,
    /// Folder of the charts that are made on a phone, which are served too; else `logbook-charts` beside the logbook
    #[arg(long, value_name = "FOLDER")]
    charts_folder: Option<PathBuf>,
    /// Let phones of the home network reach it; else only this computer can
    #[arg(long)]
    lan: bool,
    /// Port to listen at; 0 for any that is free
    #[arg(long, default_value_t = PORT)]
    port: u16,
    /// List the devices that were let in, and do nothing else
    #[arg(long, group = "act")]
    devices: bool,
    /// Refuse a device from now on, and do nothing else
    #[arg(long, value_name = "NAME", group = "act")]
    drop: Option<String>,
    /// Make and print a token for a program, and do nothing else
    #[arg(long, value_name = "NAME", group = "act")]
    token: Option<String>,
    #[command(flatten)]
    logbook: LogbookArgs,
}

pub(super) fn run(args: &Args) -> Done {
    let path = args.logbook.path()?;
    let devices = Devices::beside(&path);
    if args.devices {
        return list(&devices);
    }
    if let Some(name) = &args.drop {
        devices.drop(name)?;
        say(&format!("dropped: {}", clean(name)));
        return Ok(Exit::Trusted);
    }
    // Made if it is not there, so that the page has a place to log to, and the devices theirs.
    drop(args.logbook.open(Access::Write)?);
    if let Some(name) = &args.token {
        put(&(devices.add(name, Kind::Token, Timestamp::now())? + "\n"))?;
        say("this token is shown once: keep it where only your program can read it");
        return Ok(Exit::Trusted);
    }
    let charts = args.chart.iter().map(|file| {
        Ok(Listed {
            name: clean(&file.file_stem().unwrap_or_default().to_string_lossy()),
            chart: load_chart(file)?,
        })
    });
    let mut charts = charts.collect::<Result<Vec<_>>>()?;
    let charts_folder = args
        .charts_folder
        .clone()
        .unwrap_or_else(|| charts::beside(&path));
    let made = charts::all(&charts_folder)?;
    // One that is given as a file too is the same one.
    charts.extend(made.into_iter().filter(|m| {
        !args
            .chart
            .iter()
            .any(|c| same(c, &charts_folder.join(format!("{}.json", m.name))))
    }));
    let listener = listen(args)?;
    let port = listener.local_addr().map_err(|e| unusable(&e))?.port();
    let reached = if args.lan {
        server::addresses().map_err(|e| unusable(&e))?
    } else {
        Vec::new()
    };
    let limits = Limits::default();
    let app = App::new(Settings {
        logbook: path,
        charts,
        charts_folder,
        hosts: hosts(&reached, port),
        limits: limits.clone(),
        clock: Arc::new(Timestamp::now),
    })?;
    let bases: Vec<String> = match reached.is_empty() {
        true => vec![format!("http://{}:{port}", Ipv4Addr::LOCALHOST)],
        false => reached
            .iter()
            .map(|ip| format!("http://{ip}:{port}"))
            .collect(),
    };
    if args.lan && reached.is_empty() {
        say("this computer is in no network: only it can reach the page");
    }
    say("serving until stopped (Ctrl-C)");
    // Photos are read by threads of their own; these only move bytes.
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|e| unusable(&e))?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener).map_err(|e| unusable(&e))?;
        let service = web::app(app.clone());
        tokio::select! {
            e = server::serve(listener, service, &limits) => Err(unusable(&e).into()),
            told = words(&app, &bases, args.lan) => told,
        }
    })
}

fn listen(args: &Args) -> Result<std::net::TcpListener> {
    let ip = if args.lan {
        Ipv4Addr::UNSPECIFIED
    } else {
        Ipv4Addr::LOCALHOST
    };
    let address = SocketAddr::new(IpAddr::V4(ip), args.port);
    let listener = std::net::TcpListener::bind(address).map_err(|e| {
        Error::new(
            format!("port {} cannot be used: {}", args.port, plain(&e)),
            "end what uses it, or choose another with --port",
        )
    })?;
    listener
        .set_nonblocking(true)
        .map_err(|e| unusable(&e))
        .map(|()| listener)
}

fn unusable(e: &std::io::Error) -> Error {
    Error::new(
        format!("the network cannot be used: {}", plain(e)),
        "check the network, then start again",
    )
}

/// The names by which the page may be asked for. A browser leaves port 80 away.
fn hosts(reached: &[Ipv4Addr], port: u16) -> Vec<String> {
    let names = reached
        .iter()
        .map(Ipv4Addr::to_string)
        .chain([Ipv4Addr::LOCALHOST.to_string(), "localhost".into()]);
    names
        .flat_map(|name| {
            let bare = (port == 80).then(|| name.clone());
            [Some(format!("{name}:{port}")), bare]
        })
        .flatten()
        .collect()
}

/// How often it is looked whether the word was used or has become too old.
const LOOK: Duration = Duration::from_millis(500);

/// Shows the word of the moment, for ever.
async fn words(app: &Shared, bases: &[String], lan: bool) -> Done {
    let mut word = Some(app.pairing().word());
    loop {
        if let Some(word) = word {
            match show(&word, bases, lan) {
                // Who is paired goes on, whether somebody reads new words or not.
                Err(Stop::Closed) => {}
                other => other?,
            }
        }
        tokio::time::sleep(LOOK).await;
        let now = app.now();
        word = app.pairing().renew(now)?;
    }
}

fn show(word: &str, bases: &[String], lan: bool) -> std::result::Result<(), Stop> {
    let urls: Vec<String> = bases
        .iter()
        .map(|base| format!("{base}/pair?word={word}"))
        .collect();
    say(&format!(
        "open this address on the device that is to be paired (good once, for {} minutes):",
        GOOD_FOR.as_mins()
    ));
    put(&(urls.join("\n") + "\n"))?;
    if let (true, Some(url)) = (lan, urls.first()) {
        say(&code(url)?);
        if urls.len() > 1 {
            say("the code is for the first address");
        }
    }
    Ok(())
}

/// A QR code in half blocks, dark on light whatever the terminal's own colours are.
fn code(url: &str) -> Result<String> {
    let code = QrCode::new(url).map_err(|e| {
        Error::new(
            format!("no code can be drawn: {e}"),
            "type the address instead",
        )
    })?;
    let style = Style::new()
        .fg_color(Some(AnsiColor::Black.into()))
        .bg_color(Some(AnsiColor::BrightWhite.into()));
    let drawn = code.render::<Dense1x2>().build();
    Ok(drawn
        .lines()
        .map(|line| format!("{style}{line}{style:#}\n"))
        .collect())
}

fn list(devices: &Devices) -> Done {
    let all = devices.all()?;
    if all.is_empty() {
        say("no device is paired");
    }
    let lines = all.iter().map(|d| {
        let kind = match d.kind {
            Kind::Browser => "browser",
            Kind::Token => "program",
        };
        let since = TimeZone::system().to_datetime(d.since);
        format!(
            "{}\t{kind}\tsince {}\n",
            clean(&d.name),
            since.strftime("%Y-%m-%d %H:%M")
        )
    });
    put(&lines.collect::<String>())?;
    Ok(Exit::Trusted)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn browsers_leave_the_usual_port_away() {
        let reached = [Ipv4Addr::new(192, 168, 1, 5)];
        assert_eq!(
            hosts(&reached, 8464),
            ["192.168.1.5:8464", "127.0.0.1:8464", "localhost:8464"]
        );
        assert!(hosts(&reached, 80).contains(&"192.168.1.5".to_owned()));
    }
}

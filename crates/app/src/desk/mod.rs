//! `desk`: cards in, a local page out that goes from cards to a checked recording. It listens on the loopback address alone and
//! edits the alignment file and nothing else; sources are never written.

mod actions;
mod assets;
mod forms;
mod guard;
mod job;
mod look;
mod pages;
mod places;
mod server;
mod state;

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use anyhow::Result;
use engine::{Error, Kind};

use crate::cli::Ended;
use crate::cli::say;
use guard::Keys;
use state::Desk;

/// What the desk is opened with.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The cards to begin with.
    pub cards: Vec<PathBuf>,
    /// Where the alignment file is, and where recordings and reports go.
    pub out: PathBuf,
    /// The port; 0 takes one that is free.
    pub port: u16,
    /// Whether a browser is opened.
    pub browser: bool,
}

/// Serves the desk until the process ends.
///
/// # Errors
/// When another desk has the folder, or nothing can be listened on.
pub fn open(opened: &Opened) -> Result<Ended> {
    let keys = Keys::new()?;
    let desk = Desk::open(opened, keys)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_io()
        .enable_time()
        .build()?;
    runtime.block_on(async {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, opened.port));
        let listener = tokio::net::TcpListener::bind(address).await;
        let listener = listener.map_err(|error| {
            Error::new(Kind::Io, format!("cannot listen on {address}"))
                .then("leave --port out, or choose one that is free")
                .from_source(error)
        })?;
        let port = listener.local_addr()?.port();
        let start = desk.keys.start(port);
        say::line(format!("the desk is open at {start}"));
        say::line(format!(
            "it works in {}; end it with Ctrl-C, nothing is lost by that",
            desk.out.display()
        ));
        if opened.browser && opener::open_browser(&start).is_err() {
            say::aside("no browser could be opened: copy the address into one");
        }
        axum::serve(listener, server::router(desk, port)).await?;
        Ok(Ended::Done)
    })
}

//! The server: opened, served, ended.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use super::desk::Desk;
use super::door::{Door, secret};
use super::error::ChooseError;
use super::routes::routes;
use crate::domain::Notice;
use crate::pipeline::{Target, look};

/// How often it is asked whether to end.
const ASKED_EVERY: Duration = Duration::from_millis(100);

/// How long answers under way may take to end, and work to stop.
const LAST_ANSWERS: Duration = Duration::from_secs(3);

/// A page of one card's results, ready to be served.
pub struct Server {
    listener: TcpListener,
    port: u16,
    secret: String,
    desk: Arc<Desk>,
    away: Option<Notice>,
}

impl Server {
    /// Reads the record and takes a port of the loopback address: the one asked for, else one that is free.
    ///
    /// # Errors
    /// [`ChooseError`] when the record cannot be read or the port cannot be had.
    pub fn open(target: &Target, port: Option<u16>) -> Result<Self, ChooseError> {
        let looked = look(target)?;
        let wanted = port.unwrap_or(0);
        let taken = || {
            let listener = TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, wanted)))?;
            listener.set_nonblocking(true)?;
            let port = listener.local_addr()?.port();
            Ok((listener, port))
        };
        let (listener, port) = taken().map_err(|cause| ChooseError::Port {
            port: wanted,
            cause,
        })?;
        Ok(Self {
            listener,
            port,
            secret: secret(),
            desk: Arc::new(Desk::open(target, looked.catalogue)),
            away: looked.away,
        })
    }

    /// The address of the page. It holds the secret: who has it can change the recipe.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.secret)
    }

    /// What to tell where pictures are not in their places.
    pub fn away(&self) -> Option<&Notice> {
        self.away.as_ref()
    }

    /// Answers until `stop` says to end, which it is asked ten times a second; work under way is stopped at its next frame.
    ///
    /// # Errors
    /// [`ChooseError::Serving`] when it cannot go on.
    pub fn serve(self, stop: impl Fn() -> bool + Send + 'static) -> Result<(), ChooseError> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(ChooseError::Serving)?;
        let desk = Arc::clone(&self.desk);
        let app = routes(&self.secret, Door::new(self.port), self.desk);
        let served = runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let asked = async move {
                while !stop() {
                    tokio::time::sleep(ASKED_EVERY).await;
                }
            };
            tokio::select! {
                served = async { axum::serve(listener, app).await } => served,
                () = asked => Ok(()),
            }
        });
        desk.work.stop();
        runtime.shutdown_timeout(LAST_ANSWERS);
        let waited = std::time::Instant::now();
        while desk.work.running() && waited.elapsed() < LAST_ANSWERS {
            std::thread::sleep(ASKED_EVERY);
        }
        served.map_err(ChooseError::Serving)
    }
}

//! What all requests share.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};

use crate::store::{SessionId, Store};

use tokio::sync::Semaphore;

use super::guard::Guard;
use super::opened::Opened;
use super::work::Work;

/// Most bytes that one uploaded file may have, unless told otherwise: 16 GiB.
pub const UPLOAD_LIMIT_BYTES: u64 = 16 << 30;
/// Uploads that may go on at once: each holds a few pieces in memory and a thread that writes.
const MOST_UPLOADS: usize = 16;
/// Sessions kept open in memory; the one looked at longest ago goes first.
const MOST_OPEN: usize = 8;
/// Besides them, over all sessions, conditions, runs and states that are not the newest looked at.
const MOST_EARLIER: usize = 4;

/// Shared by all requests.
pub struct App {
    pub store: Store,
    pub guard: Arc<Guard>,
    pub upload_limit_bytes: u64,
    /// Uploads that may go on at once, [`MOST_UPLOADS`].
    pub(super) uploads: Arc<Semaphore>,
    /// The session that the bare address leads to: the demo's.
    pub home: Option<SessionId>,
    /// A folder is watched: pages look whether something new came.
    pub is_watching: bool,
    pub(super) work: Work,
    /// Last looked at last.
    opened: Mutex<Vec<Arc<Opened>>>,
    /// What is not looked at any more, or only by another page: other conditions, other runs, what stood before a
    /// change. Last looked at last.
    earlier: Mutex<Vec<Arc<Opened>>>,
    /// Held while what is not in memory is looked at for a page: what several requests wait for is read once.
    pub(super) looking: Mutex<()>,
}

impl App {
    /// A server that listens at `listen`, answers to that name and `allowed_hosts`, and has nothing open.
    pub fn new(store: Store, listen: SocketAddr, allowed_hosts: &[String]) -> App {
        App {
            store,
            guard: Arc::new(Guard::new(listen, allowed_hosts)),
            upload_limit_bytes: UPLOAD_LIMIT_BYTES,
            uploads: Arc::new(Semaphore::new(MOST_UPLOADS)),
            home: None,
            is_watching: false,
            work: Work::default(),
            opened: Mutex::default(),
            earlier: Mutex::default(),
            looking: Mutex::default(),
        }
    }

    /// The session if it is in memory.
    pub fn in_memory(&self, id: SessionId) -> Option<Arc<Opened>> {
        let mut list = self.opened.lock().unwrap_or_else(PoisonError::into_inner);
        let position = list.iter().position(|opened| opened.id == id)?;
        let opened = list.remove(position);
        list.push(opened.clone());
        Some(opened)
    }

    /// The session that was looked at last, or else the one that was changed last; not one in the bin.
    ///
    /// # Errors
    /// The disk's own.
    pub fn in_hand(&self) -> Result<Option<SessionId>, crate::store::Error> {
        let looked_at = {
            let list = self.opened.lock().unwrap_or_else(PoisonError::into_inner);
            list.last().map(|opened| opened.id)
        };
        let rows = self.store.sessions(false)?;
        let is_there = |id: &SessionId| rows.iter().any(|row| row.session.id == *id);
        Ok(looked_at
            .filter(is_there)
            .or_else(|| rows.first().map(|row| row.session.id)))
    }

    /// What is in memory of a session, whichever condition is looked at now, and fits.
    pub fn found(&self, id: SessionId, fits: impl Fn(&Opened) -> bool) -> Option<Arc<Opened>> {
        let fits = |opened: &Arc<Opened>| opened.id == id && fits(opened);
        let own = {
            let list = self.opened.lock().unwrap_or_else(PoisonError::into_inner);
            list.iter().find(|opened| fits(opened)).cloned()
        };
        own.or_else(|| {
            let mut list = self.earlier.lock().unwrap_or_else(PoisonError::into_inner);
            let position = list.iter().position(fits)?;
            let opened = list.remove(position);
            list.push(opened.clone());
            Some(opened)
        })
    }

    /// Keeps in memory what is not what is looked at now.
    pub fn keep_aside(&self, opened: Arc<Opened>) {
        let mut list = self.earlier.lock().unwrap_or_else(PoisonError::into_inner);
        list.retain(|other| other.id != opened.id || other.key != opened.key);
        if list.len() >= MOST_EARLIER {
            list.remove(0);
        }
        list.push(opened);
    }

    /// Puts an opened session in memory, in place of what was looked at of it; that is kept aside: another page may show it.
    pub fn keep(&self, opened: impl Into<Arc<Opened>>) -> Arc<Opened> {
        let opened = opened.into();
        let before = {
            let mut list = self.opened.lock().unwrap_or_else(PoisonError::into_inner);
            let position = list.iter().position(|other| other.id == opened.id);
            let before = position.map(|position| list.remove(position));
            if list.len() >= MOST_OPEN {
                list.remove(0);
            }
            list.push(opened.clone());
            before
        };
        if let Some(before) = before.filter(|before| before.key != opened.key) {
            self.keep_aside(before);
        }
        opened
    }
}

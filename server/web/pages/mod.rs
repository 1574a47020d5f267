//! Pages: HTML that reads without script. One view struct a page, holding ready strings.

pub mod before_after;
pub mod bench_log;
pub mod bin;
pub mod capture;
pub mod clocks;
pub mod figures;
pub mod findings;
pub mod guide;
pub mod harness;
pub mod heading;
pub mod links;
pub mod next_capture;
pub mod report;
pub mod rules;
pub mod start;

use super::error::Failure;
use super::shown::{Shown, Which};
use crate::store::SessionId;

/// The places of a session, for the head of every page; only those that work are listed.
#[derive(Debug, Default)]
pub struct Places {
    pub list: Vec<Place>,
}

/// A page of the session, for the navigation.
#[derive(Debug)]
pub struct Place {
    pub name: &'static str,
    pub path: String,
    pub is_here: bool,
}

impl Places {
    /// For pages that belong to no session.
    pub fn none() -> Places {
        Places::default()
    }

    /// The pages of a session; `here` is the name of the one shown.
    pub fn of(id: SessionId, here: &str) -> Places {
        let all = [
            ("Findings", String::new()),
            ("Source and far end", "/links".to_owned()),
            ("Before and after", "/before-and-after".to_owned()),
            ("Limits and logic", "/rules".to_owned()),
            ("Harness sheet", "/harness".to_owned()),
            ("Clocks", "/clocks".to_owned()),
            ("Bench log", "/log".to_owned()),
        ];
        let place = |(name, tail): (&'static str, String)| Place {
            name,
            path: format!("/sessions/{}{tail}", id.0),
            is_here: name == here,
        };
        Places {
            list: all.into_iter().map(place).collect(),
        }
    }

    /// The same, each of what the address of this page names.
    ///
    /// # Errors
    /// The condition is no number.
    pub fn following(self, shown: &Shown) -> Result<Places, Failure> {
        Ok(match shown.which()? {
            Some(which) => self.under(which),
            None => self,
        })
    }

    /// The same, each of the condition and run that is shown here.
    pub fn under(mut self, which: Which) -> Places {
        for place in &mut self.list {
            place.path = format!("{}?{}", place.path, which.query());
        }
        self
    }
}

//! Lines whose levels are wrong themselves, as the report of each run leaves them out: their pulses are no strays.
//!
//! A line that is left out in one state and counted in the other would seem cured, or struck anew, by what only its levels do. So
//! nothing of it is counted where it is left out, and that is said.

use std::borrow::Cow;

use crate::analysis::{levels, rails};
use crate::model::Capture;
use crate::setup::Setup;
use crate::workflow::inspect::{link_options, wrong_levels};

/// A run, and what strays are looked for in.
pub(super) struct Levelled {
    pub capture: Capture,
    /// The capture without what is no pulse; `None` where that is all of it.
    judged: Option<Capture>,
    /// Positions of lines of which nothing is judged, ascending.
    pub left_out: Vec<usize>,
}

impl Levelled {
    /// Cost: that of [`levels::find`].
    pub fn of(capture: Capture, setup: &Setup) -> Levelled {
        let mut supplies = setup.rails.clone();
        supplies.extend(rails::assumed::assumed(&capture, &setup.rails));
        let wrong = wrong_levels(&capture, &supplies, &link_options(&capture, setup));
        Levelled {
            judged: levels::to_judge(&capture, &wrong),
            left_out: levels::left_out(&wrong),
            capture,
        }
    }

    /// What strays are looked for in; lines stand where they do in the capture.
    pub fn judged(&self) -> Cow<'_, Capture> {
        Cow::Borrowed(self.judged.as_ref().unwrap_or(&self.capture))
    }

    /// Names of the lines of which nothing is judged.
    pub fn names(&self) -> Vec<String> {
        let names = self.left_out.iter();
        names.map(|&line| self.capture.lines[line].name.clone()).collect()
    }
}

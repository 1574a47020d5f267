//! Pulses that a declared link carries: where they are most of their level, they are what the line sends.

use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::legitimate::crowds::Unsure;
use crate::analysis::coupling::legitimate::majority::Sent;
use crate::analysis::links::{FarEnd, Link};
use crate::model::Capture;

/// Share of the short pulses that must arrive, of those whose arrival could be judged: on a wire that loses many the question
/// stays open. No source.
const ARRIVE: f64 = 0.95;

/// Takes from what would be asked about what a link shows to be sent. Cost: linear in the pulses of the lines concerned, times
/// the log of the arrivals.
pub fn take_over(capture: &Capture, links: &[Link], attribution: &mut Attribution) {
    let asked = std::mem::take(&mut attribution.unsure);
    for unsure in asked {
        match sent(capture, links, &unsure) {
            Some(sent) => attribution.sent.push(sent),
            None => attribution.unsure.push(unsure),
        }
    }
}

fn sent(capture: &Capture, links: &[Link], unsure: &Unsure) -> Option<Sent> {
    let crowd = &unsure.crowd;
    // Widths that scatter as strays' do leave it open: what is induced on the sender's side arrives as well.
    let is_open =
        crowd.is_parted && !crowd.scatters && unsure.follows.is_none() && 2 * crowd.pulses > crowd.of;
    let of_line = |link: &&Link| link.from == crowd.line && link.far_end == FarEnd::Carries;
    let mut links = links.iter().filter(|link| is_open && of_line(link));
    links.find_map(|link| {
        let short = capture.lines[crowd.line]
            .pulses()
            .filter(|p| p.level == crowd.level && (p.width().0 as f64) < crowd.limit);
        let (mut arrived, mut judged) = (0u64, 0u64);
        for pulse in short {
            let has_arrived = link
                .arrivals
                .binary_search_by_key(&pulse.start, |a| a.sent.start)
                .is_ok();
            let is_missing = || link.missing.iter().any(|m| m.start == pulse.start);
            arrived += u64::from(has_arrived);
            judged += u64::from(has_arrived || is_missing());
        }
        let enough = 2 * judged > crowd.pulses && arrived as f64 >= ARRIVE * judged as f64;
        enough.then_some(Sent {
            line: crowd.line,
            level: crowd.level,
            to: link.to,
            pulses: crowd.pulses,
            of: crowd.of,
            arrived,
            judged,
            widths: [crowd.widths[0], crowd.widths[2]],
            limit: crowd.limit,
        })
    })
}

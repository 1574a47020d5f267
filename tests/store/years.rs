//! The store at the size of years: 1,000 sessions with 10,000 captures, listed from one query. The time is
//! printed, not asserted (`cargo test --test store years -- --nocapture`); `cargo bench --bench start_page` asks over HTTP.

use crate::evenings;
use edgewitness::store::Store;

#[test]
fn a_thousand_sessions_are_listed() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let made = evenings::fill(&store, 1000, 10);
    let began = std::time::Instant::now();
    let rows = store.sessions(false).unwrap();
    println!(
        "1,000 sessions with 10,000 captures listed in {:.1} ms",
        began.elapsed().as_secs_f64() * 1e3
    );
    assert_eq!(rows.len(), 1000);
    assert!(rows.iter().all(|row| row.captures == 10 && row.faults == Some(1)));
    assert_eq!(Some(&rows[0].session.id), made.last(), "last changed first");
}

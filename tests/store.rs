//! The store at the size of years: 1,000 sessions with 10,000 captures, listed from one query. The time is
//! printed, not asserted (`cargo test --test store -- --nocapture`).

use edgewitness::store::{Capture, Condition, SessionBody, Store, Summary};

#[test]
fn a_thousand_sessions_are_listed() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let mut last = None;
    for number in 0..1000 {
        let body = SessionBody {
            title: format!("Evening {number}"),
            ..SessionBody::default()
        };
        let session = store.create_session(&body).unwrap().id;
        let stored = store
            .store_from("a.csv", format!("time,A\n{},1\n", number % 50).as_bytes(), 1000)
            .unwrap();
        let capture = |i| Capture {
            file: format!("{i}.csv"),
            digest: stored.digest.clone(),
            size_bytes: stored.size_bytes,
            condition: None,
            remark: String::new(),
        };
        store
            .add_all(
                session,
                &(0..10).map(capture).collect::<Vec<_>>(),
                "captures added",
            )
            .unwrap();
        store
            .add(
                session,
                &Condition {
                    title: "as found".to_owned(),
                    ..Condition::default()
                },
            )
            .unwrap();
        let summary = Summary {
            faults: 1,
            warnings: 0,
            headline: Some("CLEAR_N dips".to_owned()),
        };
        store.save_report(session, "all", "key", "{}", &summary).unwrap();
        last = Some(session);
    }
    let began = std::time::Instant::now();
    let rows = store.sessions(false).unwrap();
    println!(
        "1,000 sessions with 10,000 captures listed in {:.1} ms",
        began.elapsed().as_secs_f64() * 1e3
    );
    assert_eq!(rows.len(), 1000);
    assert!(rows.iter().all(|row| row.captures == 10 && row.faults == Some(1)));
    assert_eq!(Some(rows[0].session.id), last, "last changed first");
}

//! A store of the size of years: sessions with captures, a condition and an answer each.

use edgewitness::store::{Capture, Condition, SessionBody, SessionId, Store, Summary};

/// `sessions` evenings with `captures` captures each, into an empty store; their ids in the order they were made.
pub fn fill(store: &Store, sessions: usize, captures: usize) -> Vec<SessionId> {
    let evening = |number: usize| {
        let body = SessionBody {
            title: format!("Evening {number}"),
            ..SessionBody::default()
        };
        let session = store.create_session(&body).expect("a session").id;
        let stored = store
            .store_from("a.csv", format!("time,A\n{},1\n", number % 50).as_bytes(), 1000)
            .expect("a file");
        let capture = |i| Capture {
            file: format!("{i}.csv"),
            digest: stored.digest.clone(),
            size_bytes: stored.size_bytes,
            condition: None,
            remark: String::new(),
            instrument: String::new(),
        };
        let all: Vec<Capture> = (0..captures).map(capture).collect();
        store.add_all(session, &all, "captures added").expect("captures");
        let condition = Condition {
            title: "as found".to_owned(),
            ..Condition::default()
        };
        store.add(session, &condition).expect("a condition");
        let summary = Summary {
            faults: 1,
            warnings: 0,
            headline: Some("CLEAR_N dips".to_owned()),
        };
        store
            .save_report(session, "all", "key", 0, "{}", &summary)
            .expect("an answer");
        session
    };
    (0..sessions).map(evening).collect()
}

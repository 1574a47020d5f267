//! Every operation of the interface for programs, by what it is for.

use super::Answer::{Bytes as Gives, Empty, Json as Any, List, Maybe, One};
use super::Takes::{Bytes, Json, Nothing};
use super::{Answer, Operation, Takes, entry, shape};
use crate::report::compare::CompareReport;
use crate::store::{
    Action, Capture, ChannelSkews, Clock, Condition, DiagramView, FindingState, Photograph, PulseMark,
    Reading, Remark, Session, SessionBody, SessionRow, Step,
};
use crate::web::api::{clocks, diagram, evidence, harness, links, log, marks, rules, seek, sessions, upload};
use crate::workflow::session::RunTallies;

const OCTETS: &str = "application/octet-stream";

/// Every request that the interface answers, in the order of the description.
pub(super) fn operations() -> Vec<Operation> {
    let all = [
        sessions(),
        diagram(),
        bench_log(),
        rules_and_links(),
        conditions_and_clocks(),
        harness_and_exports(),
    ];
    all.into_iter().flatten().collect()
}

fn op(
    method: &'static str,
    path: &'static str,
    summary: &'static str,
    takes: Takes,
    answer: Answer,
) -> Operation {
    Operation {
        method,
        path,
        summary,
        takes,
        answer,
    }
}

/// Sessions, and the captures that come into them.
fn sessions() -> Vec<Operation> {
    vec![
        op(
            "get",
            "/api/sessions",
            "Sessions, last changed first",
            Nothing,
            List(shape::<SessionRow>()),
        ),
        op(
            "post",
            "/api/sessions",
            "Make a session",
            Json(shape::<SessionBody>()),
            One(shape::<Session>()),
        ),
        op(
            "get",
            "/api/bin",
            "Sessions in the bin",
            Nothing,
            List(shape::<SessionRow>()),
        ),
        op(
            "post",
            "/api/archives",
            "Make a session of an archive",
            Bytes,
            One(shape::<Session>()),
        ),
        op(
            "get",
            "/api/sessions/{id}",
            "Everything said in a session",
            Nothing,
            One(shape::<log::SessionLog>()),
        ),
        op(
            "put",
            "/api/sessions/{id}",
            "Change title, job, setup; was says what they were when the change was begun",
            Json(shape::<log::EditedSession>()),
            One(shape::<Session>()),
        ),
        op(
            "delete",
            "/api/sessions/{id}",
            "Put a session in the bin",
            Nothing,
            Empty,
        ),
        op(
            "post",
            "/api/sessions/{id}/restore",
            "Take a session out of the bin",
            Nothing,
            Empty,
        ),
        op(
            "get",
            "/api/sessions/{id}/present",
            "What the answer rests on now",
            Nothing,
            One(shape::<log::Present>()),
        ),
        op(
            "post",
            "/api/demo",
            "Open the demo's session; made where it is not there",
            Nothing,
            One(shape::<Session>()),
        ),
        op(
            "post",
            "/api/captures",
            "Begin a session with a capture: its bytes, with ?name= and ?title=",
            Bytes,
            One(shape::<upload::Begun>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/captures",
            "Bring a capture: its bytes, with ?name=",
            Bytes,
            One(entry::<Capture>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/work",
            "Reading and analysis as server-sent events",
            Nothing,
            Gives("text/event-stream"),
        ),
    ]
}

/// What the report and the diagram ask for.
fn diagram() -> Vec<Operation> {
    vec![
        op(
            "get",
            "/api/sessions/{id}/report",
            "What was found in a run, as edgewitness inspect --json, and in the other runs of its condition",
            Nothing,
            One(shape::<sessions::RunReport>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/diagram",
            "Lines, timebase and findings",
            Nothing,
            One(shape::<diagram::Diagram>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/window",
            "Columns of numbers for a stretch of lines: ?start=&end=&columns=",
            Nothing,
            Gives(OCTETS),
        ),
        op(
            "get",
            "/api/sessions/{id}/density",
            "Edges and strays of the whole capture in ?columns=",
            Nothing,
            Any,
        ),
        op(
            "get",
            "/api/sessions/{id}/findings/{finding}/occurrences",
            "The moments a finding rests on",
            Nothing,
            One(shape::<diagram::Occurrences>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/findings/{finding}/overlay",
            "A finding's moments laid on one another: ?before=&after= in ticks",
            Nothing,
            One(shape::<crate::web::overlay::Overlay>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/evidence",
            "What findings show in a stretch: ?start=&end= in ticks",
            Nothing,
            One(shape::<evidence::Evidence>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/find",
            "Edges, strays, pulses by width, patterns: ?what=edge|rise|fall|stray|pulse|low-pulse|high-pulse|pattern&line=&text=",
            Nothing,
            One(shape::<seek::Moments>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/stretch",
            "What lines did over a stretch: ?start=&end= in ticks",
            Nothing,
            List(shape::<seek::LineStretch>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/view",
            "How the diagram is looked at: order of lines, dimension lines",
            Nothing,
            One(shape::<DiagramView>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/view",
            "Set how the diagram is looked at",
            Json(shape::<DiagramView>()),
            One(shape::<DiagramView>()),
        ),
    ]
}

/// What a person writes down, and takes back.
fn bench_log() -> Vec<Operation> {
    vec![
        op(
            "post",
            "/api/sessions/{id}/entries/condition",
            "Add a condition",
            Json(shape::<Condition>()),
            One(entry::<Condition>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/remark",
            "Add a remark",
            Json(shape::<Remark>()),
            One(entry::<Remark>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/reading",
            "Add a reading by meter",
            Json(shape::<Reading>()),
            One(entry::<Reading>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/step",
            "Add a checkout step",
            Json(shape::<Step>()),
            One(entry::<Step>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/entries/{kind}/{entry}",
            "Change an entry",
            Json(None),
            Any,
        ),
        op(
            "delete",
            "/api/sessions/{id}/entries/{kind}/{entry}",
            "Put an entry in the bin",
            Nothing,
            Empty,
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/{kind}/{entry}/restore",
            "Take an entry out of the bin",
            Nothing,
            Empty,
        ),
        op(
            "post",
            "/api/sessions/{id}/checklist",
            "Add the steps of a pasted list",
            Json(shape::<log::Pasted>()),
            List(entry::<Step>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/finding-state",
            "Set the state of a finding",
            Json(shape::<log::SaidOfFinding>()),
            One(entry::<FindingState>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/photographs",
            "Add a photograph: its bytes, with ?name=&caption=",
            Bytes,
            One(entry::<Photograph>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/photographs/{entry}",
            "A photograph",
            Nothing,
            Gives("image/*"),
        ),
        op(
            "post",
            "/api/sessions/{id}/undo",
            "Undo the last action; ?action=… names it, and another is then not undone",
            Nothing,
            Maybe(shape::<Action>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/redo",
            "Do again what was undone",
            Nothing,
            Maybe(shape::<Action>()),
        ),
    ]
}

/// Rules, links and single pulses, as a person demands and judges them.
fn rules_and_links() -> Vec<Operation> {
    vec![
        op(
            "post",
            "/api/sessions/{id}/rules",
            "Add a rule to the session's setup: kind, and the keys of the setup file with texts for values",
            Json(None),
            One(shape::<Session>()),
        ),
        op(
            "delete",
            "/api/sessions/{id}/rules",
            "Take a rule or a rail out of the session's setup",
            Json(shape::<rules::NamedRule>()),
            One(shape::<Session>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/links",
            "Declare a link between two lines, or two buses bit by bit",
            Json(shape::<links::NewLink>()),
            One(shape::<Session>()),
        ),
        op(
            "delete",
            "/api/sessions/{id}/links",
            "Take the declaration of a link back",
            Json(shape::<links::Ends>()),
            One(shape::<Session>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/links/pulses",
            "What became of every pulse of a declared link: ?from=…&to=…",
            Nothing,
            List(shape::<crate::workflow::links::PulseFate>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/marks",
            "Judge a pulse as a stray or legitimate; taken back by putting its entry (kind pulse-mark) in the bin",
            Json(shape::<marks::JudgedPulse>()),
            One(entry::<PulseMark>()),
        ),
    ]
}

/// Which condition is looked at, how captures are read and brought to one clock, and two conditions compared.
fn conditions_and_clocks() -> Vec<Operation> {
    vec![
        op(
            "put",
            "/api/sessions/{id}/condition-in-hand",
            "Look at the newest run of one condition, or at the run named, until another capture is brought",
            Json(shape::<clocks::Wanted>()),
            Empty,
        ),
        op(
            "get",
            "/api/sessions/{id}/captures/{capture}/reading",
            "What a capture's file was taken for, from its first rows; the query's fields are said over it",
            Nothing,
            Any,
        ),
        op(
            "put",
            "/api/sessions/{id}/captures/{capture}/reading",
            "Say how a capture is read: keys of [read], kind.N of column N, name.N, line.N and levels.N of its line",
            Json(None),
            Empty,
        ),
        op(
            "put",
            "/api/sessions/{id}/clocks",
            "Say how a capture's clock is brought to another's",
            Json(shape::<Clock>()),
            Empty,
        ),
        op(
            "put",
            "/api/sessions/{id}/skews",
            "Keep the skews of the channels, or measure them from a capture of one edge: then late_s is left empty",
            Json(shape::<ChannelSkews>()),
            One(shape::<ChannelSkews>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/runs",
            "What every trouble came to in every run of the session",
            Nothing,
            One(shape::<RunTallies>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/compare",
            "Two conditions, or two sets of runs, compared: ?before=…&after=…, each c and a condition's id, or r and the id of a run's first capture",
            Nothing,
            One(shape::<CompareReport>()),
        ),
    ]
}

/// Where the lines are in the machine, and what goes out.
fn harness_and_exports() -> Vec<Operation> {
    vec![
        op(
            "get",
            "/api/sessions/{id}/harness",
            "The harness sheet",
            Nothing,
            One(shape::<harness::Csv>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/harness",
            "Set the harness sheet",
            Json(shape::<harness::Csv>()),
            One(shape::<harness::Csv>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/captures/{capture}/clips",
            "Where the clips were in a capture",
            Json(shape::<harness::Csv>()),
            One(shape::<harness::Csv>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/places",
            "Where findings are; which clip to move next",
            Nothing,
            One(shape::<harness::Places>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/archive",
            "The session with all its captures in one file",
            Nothing,
            Gives("application/gzip"),
        ),
        op(
            "get",
            "/api/sessions/{id}/export/{name}",
            "capture.vcd, changes.csv, strays.parquet, couplings.json, …; a table holds all runs of the condition where none is named",
            Nothing,
            Gives(OCTETS),
        ),
        op("get", "/api/openapi.json", "This document", Nothing, Any),
    ]
}

//! Work on plans and seasons, watched: how it stands goes to stderr.

use std::io::IsTerminal as _;
use std::time::{Duration, Instant};

use deepbend_contract::pb;
use deepbend_contract::pb::watch_plan_request::Work;
use deepbend_contract::pb::watch_plan_response::Part;
use tokio_stream::StreamExt as _;

use crate::args::Global;
use crate::failure::{Exit, Failure};
use crate::output::{Format, note, progress};
use crate::render;
use crate::service::Service;
use crate::trip_words::Asked;

/// Work that ends sooner is not worth a line.
const WORTH_A_LINE: Duration = Duration::from_secs(1);

/// Does the work, and gives back its answer.
pub(super) async fn watched(
    global: &Global,
    service: &Service,
    work: Work,
) -> Result<Part, Failure> {
    let asked = Asked::of(&work);
    let in_words = |status: tonic::Status| match global.output {
        Format::Table => asked.told(status.into()),
        Format::Json | Format::Jsonl | Format::Csv => status.into(),
    };
    let request = service.request(pb::WatchPlanRequest { work: Some(work) });
    let mut told = service.trips().watch_plan(request).await.map_err(in_words)?.into_inner();
    let mut line = Line { began: Instant::now(), always: global.progress, width: 0 };
    while let Some(message) = told.next().await {
        match message.inspect_err(|_| line.end()).map_err(in_words)?.part {
            Some(Part::Progress(now)) => line.show(&line_of(&now)),
            Some(part) => {
                line.end();
                return Ok(part);
            }
            None => {}
        }
    }
    Err(Failure::new(Exit::Failed, "the work ended without an answer"))
}

/// The service answered what was not asked.
pub(super) fn other_answer() -> Failure {
    Failure::new(Exit::Failed, "the service answered something else than was asked")
}

/// The line that tells how work stands.
struct Line {
    began: Instant,
    always: bool,
    width: usize,
}

impl Line {
    fn show(&mut self, text: &str) {
        if self.always && !std::io::stderr().is_terminal() {
            note(text);
        } else if self.always || self.began.elapsed() >= WORTH_A_LINE {
            progress(&format!("{text:<0$}", self.width));
            self.width = text.chars().count();
        }
    }

    fn end(&mut self) {
        if std::mem::take(&mut self.width) > 0 {
            progress("\n");
        }
    }
}

/// "searching: 56.30 of at most 57.11 (gap 1.42 %), 120 nodes".
fn line_of(now: &pb::PlanProgress) -> String {
    let mut parts = Vec::new();
    if now.step_count > 0 {
        parts.push(format!("{} of {}", now.done_count, now.step_count));
    }
    let worth = |micros: i64| micros as f64 / 1e6;
    match (now.incumbent_micros, now.bound_micros, now.gap) {
        (Some(best), Some(bound), Some(gap)) => {
            let (best, bound, gap) = (worth(best), worth(bound), gap * 100.0);
            parts.push(format!("worth {best:.2} of at most {bound:.2} (gap {gap:.2} %)"));
        }
        (Some(best), ..) => parts.push(format!("worth {:.2} so far", worth(best))),
        (None, Some(bound), _) => parts.push(format!("worth at most {:.2}", worth(bound))),
        _ => {}
    }
    if now.node_count > 0 {
        parts.push(format!("{} nodes", now.node_count));
    }
    let stage = render::plain!(PlanStage, now.stage);
    if parts.is_empty() { stage } else { format!("{stage}: {}", parts.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Common practice, no source.
    #[test]
    fn a_line_has_what_is_known() {
        let stage = pb::PlanStage::Waiting.into();
        let mut now = pb::PlanProgress { stage, ..Default::default() };
        assert_eq!(line_of(&now), "waiting");
        now = pb::PlanProgress { done_count: 3, step_count: 24, ..now };
        now.set_stage(pb::PlanStage::Judging);
        assert_eq!(line_of(&now), "judging: 3 of 24");
        now = pb::PlanProgress { bound_micros: Some(57_111_000), ..Default::default() };
        now.set_stage(pb::PlanStage::Searching);
        assert_eq!(line_of(&now), "searching: worth at most 57.11");
        now = pb::PlanProgress { incumbent_micros: Some(55_000_000), bound_micros: None, ..now };
        assert_eq!(line_of(&now), "searching: worth 55.00 so far");
        now = pb::PlanProgress { bound_micros: Some(57_111_000), ..now };
        now.incumbent_micros = Some(56_300_000);
        now.gap = Some(0.0142);
        now.node_count = 120;
        let line = "searching: worth 56.30 of at most 57.11 (gap 1.42 %), 120 nodes";
        assert_eq!(line_of(&now), line);
    }
}

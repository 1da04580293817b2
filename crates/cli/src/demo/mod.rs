//! The story of the demo fleet: an evening in the invented Hallgrund archipelago.
//!
//! A service of its own is started on a store in a temporary folder, the fleet is imported, and
//! each chapter asks it over gRPC. Every verdict, number and name in the story comes out of an
//! answer; edit a row of the fleet and the story changes.

use deepbend_contract::pb;
use deepbend_server::Date;

use crate::failure::{Exit, Failure};
use crate::fleet;
use crate::output;
use crate::render::Page;
use crate::service::Service;
use crate::trip_files::TripFiles;

mod ask;
mod boats;
mod gear;
mod match_ups;
mod trips;

use ask::Ask;

/// Everything that the story is told about.
#[derive(Clone, Debug)]
pub struct Fleet {
    /// Item files: what each lists, and its text.
    pub items: Vec<(pb::ImportFileKind, String)>,
    /// The trips of the next morning.
    pub trips: TripFiles,
    /// Strikes and losses of the season.
    pub catch_log: String,
}

impl Default for Fleet {
    /// The demo fleet as it comes with the program.
    fn default() -> Self {
        let owned = |name: &str, text: &str| (name.to_owned(), text.to_owned());
        Self {
            items: fleet::ITEM_FILES.map(|(kind, text)| (kind, text.to_owned())).to_vec(),
            trips: TripFiles {
                trips: owned("trips.csv", fleet::TRIPS),
                segments: owned("segments.csv", fleet::SEGMENTS),
                needs: owned("trip_needs.csv", fleet::NEEDS),
            },
            catch_log: fleet::CATCH_LOG.to_owned(),
        }
    }
}

/// The day of the trips: what is due then is what the plan says.
#[must_use]
pub fn today() -> Option<Date> {
    Date::new(2031, 9, 16)
}

/// Tells the story on stdout.
///
/// # Errors
/// A service that does not start, an answer that is an error, stdout that is gone.
pub async fn run() -> Result<(), Failure> {
    let folder = tempfile::tempdir()
        .map_err(|error| Failure::new(Exit::Failed, format!("temporary folder: {error}")))?;
    let service = Service::embedded(Some(folder.path()), today()).await?;
    let told = tell(&service, &Fleet::default(), output::width(), output::put).await;
    let closed = service.close().await;
    told.and(closed)
}

/// Tells the story chapter by chapter; `put` gets each one as soon as it is ready.
///
/// # Errors
/// An answer that is an error, or what `put` fails with.
pub async fn tell(
    service: &Service,
    fleet: &Fleet,
    width: usize,
    mut put: impl FnMut(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let ask = Ask::new(service);
    put(&opening(&ask, fleet, width).await?)?;
    put(&gear::labels(&ask, width).await?)?;
    put(&match_ups::treble_plugs(&ask, fleet, width).await?)?;
    put(&match_ups::wind(&ask, width).await?)?;
    put(&match_ups::gaps(&ask, width).await?)?;
    put(&gear::not_issued(&ask, width).await?)?;
    put(&trips::both(&ask, fleet, width).await?)?;
    put(&boats::evening(service, width).await?)?;
    put(&closing(width))
}

async fn opening(ask: &Ask<'_>, fleet: &Fleet, width: usize) -> Result<String, Failure> {
    let report = ask.import(fleet).await?;
    let model = ask.model().await?;
    let mut page = Page::new(width);
    page.line("HALLGRUND, THE EVENING OF 15 SEPTEMBER 2031 (all of it invented)");
    page.line("");
    let counts: Vec<String> = report
        .counts
        .iter()
        .map(|count| {
            let kind = crate::render::plain!(ItemKind, count.kind);
            let plural = if count.item_count == 1 || kind == "line stock" { "" } else { "s" };
            format!("{} {kind}{plural}", count.item_count)
        })
        .collect();
    page.paragraph(&format!(
        "A guide service puts its gear on the table: {}. The rows are read as they were written, in \
         ounces, feet, pounds and grams, and stored; {} findings are noted on the way.",
        counts.join(", "),
        report.findings.len()
    ));
    page.paragraph(&format!(
        "Model {}: {} numbers, {} species, {} classes of lure.",
        model.model.as_ref().map(crate::render::model_id).unwrap_or_default(),
        model.parameters.len(),
        model.species.len(),
        model.lure_classes.len()
    ));
    Ok(page.finish())
}

fn closing(width: usize) -> String {
    let mut page = chapter(width, "AND BEFORE ANYBODY CASTS OFF");
    page.paragraph(
        "The service informs; it certifies neither safety nor legality. Skipper, weather, local \
         rules and licensed practice decide. Ask it yourself: deepbend judge --help.",
    );
    page.finish()
}

/// A chapter's page with its heading.
fn chapter(width: usize, heading: &str) -> Page {
    let mut page = Page::new(width);
    page.line("");
    page.line(heading);
    page.line("");
    page
}

/// The water of a sentence: species, platform and wind, nothing else.
fn water(species: &str, platform: pb::Platform) -> pb::Water {
    pb::Water {
        species: species.to_owned(),
        platform: platform.into(),
        skill: pb::Skill::Intermediate.into(),
        ..pb::Water::default()
    }
}

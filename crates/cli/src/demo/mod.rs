//! The story of the demo fleet.

use crate::failure::{Exit, Failure};

/// Tells the story.
///
/// # Errors
/// Always, until the story is written.
pub async fn run() -> Result<(), Failure> {
    Err(Failure::new(Exit::Failed, "the demo is not written yet"))
}

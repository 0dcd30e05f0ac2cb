//! Which readings of the notebook are meant.

use clap::Args;

use super::value::{Said, line, stage};
use crate::book::row::{Filter, span_of};
use crate::network::Load;
use crate::record::stage::Stage;

/// Which readings of the notebook.
#[derive(Debug, Clone, Default, Args)]
pub struct WhichArgs {
    /// Of this lot
    #[arg(long, value_name = "LOT", value_parser = line)]
    pub lot: Option<String>,
    /// From this day, month or year on, such as 2026-01
    #[arg(long, value_name = "DAY", value_parser = since)]
    pub since: Option<i64>,
    /// At this stage
    #[arg(long, value_name = "STAGE", value_parser = stage)]
    pub stage: Option<Stage>,
    /// Under this load; none: nothing but the rig's own input
    #[arg(long, value_name = "LOAD", value_parser = load)]
    pub load: Option<String>,
    /// On the rig of this name
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub rig: Option<String>,
}

impl WhichArgs {
    pub fn filter(&self) -> Filter {
        Filter {
            lot: self.lot.clone(),
            since: self.since,
            stage: self.stage.as_ref().map(|s| s.text().to_owned()),
            load: self.load.clone(),
            rig: self.rig.clone(),
            ..Filter::default()
        }
    }
}

fn since(s: &str) -> Said<i64> {
    let span = span_of(s.trim());
    span.map(|s| s.0)
        .ok_or("write a year, a month or a day: 2026, 2026-03, 2026-03-02".into())
}

/// As records have it.
fn load(s: &str) -> Said<String> {
    let load: Load = s.parse().map_err(|e: crate::failure::Failure| e.to_string())?;
    Ok(load.to_string())
}

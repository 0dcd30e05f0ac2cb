//! `standard`: the shop's own standard, from good ones.

use super::outcome::{self, write_all};
use super::readings;
use crate::cli::args::StandardArgs;
use crate::commands::prelude::*;
use crate::fileio::stem;
use crate::report::text;
use crate::shop::known::Known;
use crate::shop::standard::Standard;

pub fn run(args: &StandardArgs, console: &mut Console) -> Result<Status> {
    let (records, how) = readings::known(&args.records, console)?;
    let of = |k: &Known| {
        let own = records.iter().filter(|r| k.is_of(&r.rig));
        k.eras.changed_among(own.map(|r| r.taken_at.as_str())).cloned()
    };
    if let Some(change) = how.known.iter().find_map(of) {
        return Err(Failure::new(
            format!("the bench was changed between these readings ({})", change.what),
            "give those before it, or those after it",
        ));
    }
    let name = args.name.clone().unwrap_or_else(|| stem(&args.out));
    let (standard, proposal) = Standard::from(&name, &records, args.allow.unwrap_or_default())?;
    let simulated = standard.simulated.then_some(" Simulated: no real pickups.");
    let remark = format!(
        "Standard of the shop, from {} record{}. Limits may be edited; count the version up.{}",
        records.len(),
        if records.len() == 1 { "" } else { "s" },
        simulated.unwrap_or_default()
    );
    let files = write_all(vec![(args.out.clone(), standard.to_toml(&remark)?.into_bytes())])?;
    let document = serde_json::json!({ "schema": standard.schema, "standard": standard, "proposal": proposal });
    outcome::say(&document, args.shown, console, |_, style| {
        text::standard_text(&standard, proposal.as_ref(), &files, style)
    })
}

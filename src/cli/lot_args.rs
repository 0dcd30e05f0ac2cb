//! What `potting`, `tray` and `standard` are given.

use std::path::PathBuf;

use clap::Args;

use super::inputs;
use super::shared::{DriveArgs, Life, Shown, Source, Surroundings};
use super::value::{Columns, Said, line, of};
use crate::quantity::{self, Unit};
use crate::record::meters::Column;
use crate::shop::lot::is_plain;
use crate::shop::standard::Allowed;
use crate::shop::wax::document::Limits;

#[derive(Debug, Default, Args)]
#[command(
    after_help = "Hot wax burns and catches fire: thermostat, lid, never unattended, no water near it, fresh air; no pickup is measured hot. docs/safety.md has the usual cautions; local rules come first.

Examples:
  coilwright potting takes/neck-7/0003 --after takes/neck-7/0004 --rig north.toml --rested 14h
  coilwright potting before --after after --rig north.toml --limit \"f0=0.5% q=5%\" --out lot-12
  coilwright potting before --after after --rig north.toml --rested 14h --keep
"
)]
pub struct PottingArgs {
    /// Records before the wax: files, their folders, or folders of such folders
    #[arg(value_name = "BEFORE", required = true, num_args = 1..)]
    pub before: Vec<PathBuf>,
    /// Records after the wax; pairs are made by the pickup's name
    #[arg(long, value_name = "AFTER", required = true, num_args = 1..)]
    pub after: Vec<PathBuf>,
    /// The rig file, whose checks tell what the rig does from day to day; left out, the one that `use` remembers
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// Changes up to this size count as none, such as "f0=0.5% q=5%"
    #[arg(long, value_name = "LIST", value_parser = inputs::pot_limits)]
    pub limit: Option<Limits>,
    /// How long the coils have rested since the wax, such as 14h
    #[arg(long, value_name = "TIME", value_parser = hours, allow_hyphen_values = true)]
    pub rested: Option<f64>,
    /// The windings' own capacitance before, where it is known, such as 120p
    #[arg(long, value_name = "FARAD", value_parser = of(Unit::Farad), allow_hyphen_values = true)]
    pub cs: Option<f64>,
    /// Add these changes to the rig's history of what wax does, beside the rig file
    #[arg(long)]
    pub keep: bool,
    /// Folder for plot and table
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Keys: Enter measures, r again, k keeps, s skips, u takes back, n TEXT notes, q ends. The same command goes on where it stopped.

Headphones off your ears, loudspeakers off, phantom power off: every Enter plays the test signal. Strong magnets: keep cards, watches and implants away. docs/safety.md has the usual cautions; local rules come first.

With --source sim, --sim takes a text file as well, with a line of words for each number.

Examples:
  coilwright tray neck-12 --standard neck.toml --rig north.toml --load none
  coilwright tray neck-12 --columns \"ohms by meter A, gauss by probe C\"
"
)]
pub struct TrayArgs {
    /// The lot's name; pickups are NAME-01, NAME-02 and so on
    #[arg(value_name = "NAME", value_parser = lot_name, required_unless_present = "lot")]
    pub name: Option<String>,
    /// The same
    #[arg(long, value_name = "NAME", value_parser = lot_name, conflicts_with = "name")]
    pub lot: Option<String>,
    /// The standard to judge by; left out, the lot's own, or none
    #[arg(long, value_name = "FILE")]
    pub standard: Option<PathBuf>,
    /// The first number of a new lot
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub first: u32,
    /// Where the lot's folder is made; left out, as for `measure`
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    #[command(flatten)]
    pub source: Source,
    #[command(flatten)]
    pub on: Surroundings,
    #[command(flatten)]
    pub life: Life,
    /// Which other meters to ask for after each take, such as "ohms by meter A, lcr at 120Hz by bridge B, gauss by probe C", or
    /// none; left out, the lot's own, or what `use` remembers
    #[arg(long, value_name = "LIST", value_parser = Column::list)]
    pub columns: Option<Columns>,
    #[command(flatten)]
    pub drive: DriveArgs,
    #[command(flatten)]
    pub shown: Shown,
}

impl TrayArgs {
    pub fn lot(&self) -> &str {
        self.name.as_deref().or(self.lot.as_deref()).unwrap_or_default()
    }
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright standard takes/good/0001 --allow \"f0=3% q=8% level=2dB\" --out neck.toml
  coilwright standard takes/good/0001 --allow \"f0=3% q=8% ohms=3%\" --out neck.toml
  coilwright standard takes/lot-11/* --out neck.toml      proposes limits from twenty good ones and more
")]
pub struct StandardArgs {
    /// Records of good pickups: files, their folders, or the pickups' names
    #[arg(value_name = "RECORD", required = true, num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// How far off either way is allowed, such as "f0=3% q=8% level=2dB ohms=3%"
    #[arg(long, value_name = "LIST", value_parser = inputs::allowed)]
    pub allow: Option<Allowed>,
    /// Its name; left out, that of the file
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub name: Option<String>,
    /// The file to write
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    #[command(flatten)]
    pub shown: Shown,
}

/// A name that is a folder's as well.
pub(super) fn lot_name(s: &str) -> Said<String> {
    let name = Some(s.trim()).filter(|n| is_plain(n) && n.len() <= 60);
    name.map(str::to_owned)
        .ok_or("a lot's name has letters, digits, - and _".into())
}

/// In hours; a plain number is hours too.
pub(super) fn hours(s: &str) -> Said<f64> {
    let text = s.trim();
    // Fourteen of what is not guessed.
    let bare = text.parse::<f64>().is_ok();
    let hours = match text.strip_suffix('h') {
        Some(n) => n.trim().parse::<f64>().ok(),
        None => quantity::parse(text, Unit::Second).ok().map(|s| s / 3600.0),
    };
    match hours.filter(|_| !bare) {
        Some(h) if (0.0..1e5).contains(&h) => Ok(h),
        _ => Err("write the time with its unit, as 14h or 90min".into()),
    }
}

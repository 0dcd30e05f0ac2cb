//! What `book sets` is given.

use clap::Args;

use super::shared::Detailed;
use super::value::line;
use super::which_args::WhichArgs;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book sets                                           necks and bridges that are alike
  coilwright book sets --target \"bridge: level +1.5dB ohms +8%\"
  coilwright book sets --of 3 --reversed middle                  the middle one reversed, winding and magnet
  coilwright book sets --of 6 --limit \"peak=1% level=1dB\"        six alike, of any position
  coilwright book sets --keep spring                             writes down the first of them
")]
pub struct SetsArgs {
    /// Pickups to choose from; `*` stands for anything. Left out: all that are not sold, sent or in a set
    #[arg(value_name = "NAME", value_parser = line)]
    pub names: Vec<String>,
    /// How many are in a set (2: neck+bridge, 3: neck+middle+bridge, more: any), or its places, such as neck+middle or any+any
    #[arg(long, value_name = "N", default_value = "2", hide_default_value = true)]
    pub of: String,
    /// What a place is to be beside the first, such as "bridge: level +1.5dB ohms +8%"; left out: alike
    #[arg(long = "target", value_name = "TARGET")]
    pub targets: Vec<String>,
    /// The place that is wound the other way round, with the other pole up
    #[arg(long, value_name = "PLACE")]
    pub reversed: Vec<String>,
    /// What counts more, or less: "peak=2 q=0.5"
    #[arg(long, value_name = "WEIGHTS")]
    pub weight: Option<String>,
    /// How far off a set may be: "peak=3% ohms=5%"; left out: twice what matters
    #[arg(long, value_name = "LIMITS")]
    pub limit: Option<String>,
    /// Write a set into the notebook, under this name
    #[arg(long, value_name = "SET", value_parser = line)]
    pub keep: Option<String>,
    /// Which of them is kept
    #[arg(
        long,
        value_name = "NUMBER",
        requires = "keep",
        default_value_t = 1,
        hide_default_value = true
    )]
    pub number: usize,
    #[command(flatten)]
    pub which: WhichArgs,
    /// Look through all folders now, though it was done within the last minute
    #[arg(long)]
    pub look: bool,
    /// A table for a spreadsheet, on standard output
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    #[command(flatten)]
    pub shown: Detailed,
}

//! The measurements and comparisons of the story.

/// One measurement of the story.
pub struct Job {
    pub folder: &'static str,
    pub pickup: &'static str,
    /// What stands on the bench, in the bench's own words.
    pub sim: &'static str,
    pub load: Option<&'static str>,
    pub over: Option<&'static str>,
    pub stage: Option<&'static str>,
    pub ohms: f64,
    pub note: &'static str,
    pub seed: u64,
}

const NECK: &str = "r=6.1k l=2.5H cs=110p loss=900k noise=-82dBFS";
const BRIDGE: &str = "r=4.1k l=2.3H cs=60p loss=500k l2=2.4H cs2=65p over=first noise=-82dBFS";
const UNWAXED: &str = "r=6.3k l=2.6H cs=110p loss=900k noise=-82dBFS";
const WAXED: &str = "r=6.3k l=2.6H cs=121p loss=900k noise=-82dBFS";
pub const CONTROLS_SHORT: &str = "vol=250k tone=250k+22n cable=3m@100p/m";
const CONTROLS_LONG: &str = "vol=250k tone=250k+22n cable=6m@100p/m";

impl Job {
    const fn new(folder: &'static str, pickup: &'static str, sim: &'static str, ohms: f64, seed: u64) -> Job {
        Job {
            folder,
            pickup,
            sim,
            load: None,
            over: None,
            stage: None,
            ohms,
            // So that also what only repeats the pickup's data says it.
            note: "simulated, invented data",
            seed,
        }
    }

    const fn under(self, load: &'static str) -> Job {
        Job {
            load: Some(load),
            ..self
        }
    }
}

/// Order and folders of the measurements; the comparisons name them by their place.
pub const JOBS: [Job; 8] = [
    Job::new("1-short-cable", "neck 3-7, 3 m", NECK, 6.12e3, 11).under(CONTROLS_SHORT),
    Job::new("2-long-cable", "neck 3-7, 6 m", NECK, 6.12e3, 12).under(CONTROLS_LONG),
    Job {
        over: Some("the first coil"),
        ..Job::new("3-first-coil", "bridge 5-2", BRIDGE, 8.23e3, 13).under("vol=500k tone=500k+22n cable=3m@100p/m")
    },
    Job {
        stage: Some("before wax"),
        ..Job::new("4-before-wax", "neck 4-1", UNWAXED, 6.31e3, 14)
    },
    Job {
        stage: Some("after wax"),
        note: "simulated, invented data: wax pot, winding capacitance +10 %",
        ..Job::new("5-after-wax", "neck 4-1", WAXED, 6.31e3, 15)
    },
    Job {
        note: "simulated, invented data: ohms read on the winder, before the leads went on",
        ..Job::new("6-open-winding", "neck 4-2", "r=6.3k l=2.6H cs=110p open", 6.31e3, 16)
    },
    Job::new("7-no-load", "neck 3-7", NECK, 6.12e3, 17).under("none"),
    Job::new("8-with-1-nf", "neck 3-7", NECK, 6.12e3, 18).under("cap=1n"),
];

/// Of the pages, and of what leads to them.
pub const PAGES: &str = "pages";
pub const INDEX: &str = "index.html";

/// The take that is none.
pub const REJECTED: usize = 5;

/// The two takes that the page on pots and cables stands on.
pub const COIL_TAKES: std::ops::Range<usize> = 6..8;

/// Folder of a comparison, and which measurements it lays over each other.
pub const COMPARISONS: [(&str, [usize; 2]); 2] = [("two-cables", [0, 1]), ("wax", [3, 4])];

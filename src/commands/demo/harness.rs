//! The demonstration's page on pots and cables: from two takes to the coil, from the coil to any guitar.

use crate::cli::context::ready_folder;
use crate::cli::inputs;
use crate::coil::against;
use crate::coil::basis::Basis;
use crate::coil::behind::{self, About, CoilDocument};
use crate::coil::loads::{LoadsDocument, Manner, predict_one};
use crate::commands::outcome::write_all;
use crate::commands::prelude::*;
use crate::estimate::Estimate;
use crate::network::{Knob, Load, Tolerances, Wiring, reach, wirings};
use crate::record::Record;
use crate::report::number::{self, Unit};
use crate::report::page::line::Line;
use crate::report::page::table::Table;
use crate::report::page::{Block, Page};
use crate::report::{loads_plot, plot::Plot};
use crate::shop::predicted;
use crate::shop::yardstick::Matters;

pub const FOLDER: &str = "pots-and-cables";
/// The guitar of the page.
pub const GUITAR: &str = "vol=250k tone=250k+22n cable=5m@100p/m amp=1M";
/// Its tone control as far down as it goes.
const DARK: &str = "vol=250k@1 tone=250k+22n@0 cable=5m@100p/m amp=1M";
/// Of the capacitor that came out of the drawer, and of the bench's input.
const TOLERANCE: &str = "cap=1% input=2%";
const GOAL: &str = "3.2kHz 5dB";

/// What the page was made of, for the story.
pub struct Harness {
    pub coil: CoilDocument,
    pub cables: LoadsDocument,
    pub parts: LoadsDocument,
}

struct Chapter<'a> {
    basis: &'a Basis,
    page: Page,
    files: Vec<(&'static str, Plot)>,
}

impl Chapter<'_> {
    /// A plot in the page and beside it.
    fn show(&mut self, file: &'static str, plot: Plot) {
        self.page.put(Block::Picture(Box::new(plot.clone())));
        self.files.push((file, plot));
    }

    fn command(&mut self, text: &str) {
        self.page.put(Block::Command(text.into()));
    }

    /// What the coil predicts.
    fn loads(&mut self, options: &str) {
        self.command(&format!("coilwright loads --coil pots-and-cables/coil.toml {options}"));
    }
}

/// One quantity of the guitar, run through.
struct Sweep {
    file: &'static str,
    head: &'static str,
    words: &'static str,
    guitar: &'static str,
    vary: &'static str,
}

/// The cables first: the story tells of them.
const SWEEPS: [Sweep; 4] = [
    Sweep {
        file: "cables",
        head: "A longer cable",
        words: "Every metre is some hundred picofarads more across the winding: the peak comes down, and what lies above it goes.",
        guitar: GUITAR,
        vary: "cable=1m...10m",
    },
    Sweep {
        file: "volume",
        head: "The volume control",
        words: "Turned down it does not only make the guitar quieter: its upper part stands between winding and cable, and the \
                treble goes first. A treble bleed gives some of it back.",
        guitar: GUITAR,
        vary: "vol=1,0.8,0.6,0.4,0.2",
    },
    Sweep {
        file: "pots",
        head: "The value of the pot",
        words: "A larger pot damps less: the same peak, standing higher.",
        guitar: GUITAR,
        vary: "vol-pot=100k,250k,500k,1M",
    },
    Sweep {
        file: "tone",
        head: "The tone capacitor",
        words: "With the tone control down the capacitor lies right across the pickup, and makes a peak of its own far below.",
        guitar: DARK,
        vary: "tone-cap=4.7n,10n,22n,47n",
    },
];

impl Sweep {
    fn show(&self, c: &mut Chapter) -> Result<LoadsDocument> {
        let guitar: Load = self.guitar.parse()?;
        c.page.head(self.head);
        c.page.say(self.words);
        c.loads(&format!("--load \"{}\" --vary {}", self.guitar, self.vary));
        let vary = inputs::vary(self.vary)?;
        let one = |v: f64| {
            let mut w = Wiring::from(guitar.clone());
            let _ = vary.knob.set(&mut w.load, v);
            predict_one(
                c.basis,
                &w.load.to_string(),
                &w,
                Some((vary.knob, v)),
                &Manner::default(),
            )
        };
        let document = LoadsDocument::of(c.basis, vary.values(None)?.into_iter().map(one).collect());
        c.show(self.file, loads_plot::family(&document)?);
        Ok(document)
    }
}

/// Makes the folder: coil file, plots, page. `takes`: of one pickup under two known loads; `check`: one more, under controls.
pub fn make(takes: &[Record], check: &Record, out: &Path) -> Result<Harness> {
    let tolerance = inputs::tolerance(TOLERANCE)?;
    let about = About {
        stated: tolerance.stated.clone(),
        ohmmeter: tolerance.ohmmeter,
        ..About::default()
    };
    let coil = behind::find(takes, &about)?;
    let file = coil.file();
    let basis = Basis::of(file.clone())?;
    let guitar: Load = GUITAR.parse()?;
    let mut c = Chapter {
        basis: &basis,
        page: Page::new(Line::from("Pots and cables on ").theirs(&coil.pickup.name)),
        files: Vec::new(),
    };
    c.page.put(Block::Notice(
        "SIMULATED, in a workshop that does not exist: no real pickup, pot or cable.".into(),
    ));
    c.page
        .say("The commands are as one would type them in the folder of the demonstration.");
    found(&mut c, &coil);
    let stated = against::Stated {
        parts: tolerance.stated.parts,
        ..against::Stated::default()
    };
    let check = std::slice::from_ref(check);
    let mut laid = against::against(check, &basis, &stated)?;
    predicted::judge(&mut laid, check, &Matters::default());
    checked(&mut c, &laid)?;
    let cables = SWEEPS[0].show(&mut c)?;
    for sweep in &SWEEPS[1..] {
        sweep.show(&mut c)?;
    }
    c.page.head("The pickup, or the pot?");
    let plain = Wiring::from(guitar.clone());
    let manner = Manner {
        tolerances: Some(Tolerances::usual()),
        ..Manner::default()
    };
    let parts = predict_one(&basis, GUITAR, &plain, None, &manner);
    let parts = LoadsDocument::of(&basis, vec![parts]);
    c.page.say(spread(&parts));
    c.loads(&format!("--load \"{GUITAR}\" --tolerance usual"));
    c.show("tolerances", loads_plot::family(&parts)?);
    wished(&mut c, &basis)?;
    wired(&mut c, &basis)?;
    let file = file.to_toml("Coil of the demonstration. Simulated, invented data: no real pickup.");
    keep(&ready_folder(&out.join(FOLDER))?, c.page.html(), file, c.files)?;
    Ok(Harness { coil, cables, parts })
}

fn keep(folder: &Path, page: String, coil: String, plots: Vec<(&str, Plot)>) -> Result<()> {
    let text = |file: &str, text: String| (folder.join(file), text.into_bytes());
    let mut list = vec![text("page.html", page), text("coil.toml", coil)];
    for (name, plot) in plots {
        list.push(text(&format!("{name}.svg"), plot.svg));
        list.push((folder.join(format!("{name}.png")), plot.png));
    }
    write_all(list).map(drop)
}

fn found(c: &mut Chapter, coil: &CoilDocument) {
    c.page.head("What is in the coil");
    c.page.say(format!(
        "One take cannot tell the inductance from the capacitance; {} under different known loads can. The intervals count \
         noise, the capacitor's and the input's tolerance, and an ohmmeter right within 1 %.",
        coil.takes.len()
    ));
    c.command("coilwright coil 7-no-load 8-with-1-nf --tolerance \"cap=1% input=2%\"");
    let row = |name: &str, e, unit| vec![name.into(), number::bare_interval(e, unit).into()];
    let mut rows = vec![
        row("inductance", &coil.l_h, Unit::Henry),
        row("its own capacitance", &coil.c_f, Unit::Farad),
        row("resistance", &coil.r_ohm, Unit::Ohm),
    ];
    rows.extend(
        coil.loss_ohm
            .iter()
            .map(|loss| row("losses, parallel to L", loss, Unit::Ohm)),
    );
    c.page.put(Block::Table(Table {
        caption: format!("Of the winding {}", number::LEVEL).into(),
        head: vec!["quantity", "value"],
        rows,
    }));
}

fn checked(c: &mut Chapter, laid: &against::Against) -> Result<()> {
    c.page.head("Is it right?");
    c.page.say(format!(
        "A take under other controls, which the coil was not made from, laid over what the coil predicts for them: {:.2} dB \
         apart (rms): {}.",
        laid.rms_db,
        loads_plot::answer(laid.answer)
    ));
    c.loads("--against 1-short-cable");
    c.show("check", loads_plot::against(laid, "the coil")?);
    Ok(())
}

/// "Pots within 20 % ... move the peak from ... to ...".
pub fn spread(document: &LoadsDocument) -> String {
    let band = document.loads.first().and_then(|l| l.band.as_ref());
    let Some((b, [low, high], [down, up])) = band.and_then(|b| Some((b, b.peak_hz?, b.height_db?))) else {
        return "The parts' tolerances leave no peak to speak of.".into();
    };
    format!(
        "Of {} such guitars with parts as they are sold (pots within 20 %, capacitor and cable within 10 %) 95 in a hundred \
         have their peak between {} and {}, {} to {} above the lows: with one and the same pickup.",
        b.runs,
        number::short(low, Unit::Hertz),
        number::short(high, Unit::Hertz),
        number::short(down, Unit::Decibel),
        number::short(up, Unit::Decibel)
    )
}

fn wished(c: &mut Chapter, basis: &Basis) -> Result<()> {
    c.page.head("The other way round");
    let start: Load = "vol=250k amp=1M".parse()?;
    let knobs = [Knob::Cap, Knob::VolPot];
    let (wiring, goal) = (Wiring::from(start), inputs::goal(GOAL)?);
    let (r, _) = reach::reach(&wiring, &basis.coil, goal, &knobs, basis.covariance.as_ref())?;
    let e = |i: usize, unit: Unit| {
        let (value, u) = (r.parts[i].value, r.parts[i].u.unwrap_or(0.0));
        number::interval(&Estimate { value, u, u_noise: u }, unit)
    };
    c.page.say(format!(
        "Wanted: a peak at 3.2 kHz that stands 5 dB above the lows. It takes {} across the pickup and a pot of {}.",
        e(0, Unit::Farad),
        e(1, Unit::Ohm)
    ));
    c.loads(&format!(
        "--load \"vol=250k amp=1M\" --reach \"{GOAL}\" --by cap,vol-pot"
    ));
    Ok(())
}

fn wired(c: &mut Chapter, basis: &Basis) -> Result<()> {
    c.page.head("In other wirings");
    c.page
        .say("A second coil, or a second pickup, of the same make. docs/wirings.md draws these and more.");
    let names = "one-pickup coils-series coils-parallel coil-split two-pickups".split(' ');
    let options: Vec<String> = names.clone().map(|n| format!("--load {n}")).collect();
    c.loads(&options.join(" "));
    let mut loads = Vec::new();
    for name in names {
        if let Some(w) = wirings::built_in(name)? {
            loads.push(predict_one(basis, name, &w, None, &Manner::default()));
        }
    }
    let document = LoadsDocument::of(basis, loads);
    c.show("wirings", loads_plot::family(&document)?);
    Ok(())
}

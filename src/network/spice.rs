//! A coil as a subcircuit for circuit simulators, in the notation that they share since SPICE 2 (Nagel, UCB/ERL M520, 1975):
//! R, L, C, E and G elements only.

use std::fmt::Write;

use super::coil::Coil;

/// Resistance of the circuit that shapes the EMF; only its time constants count.
const SHAPE_OHM: f64 = 1e3;

/// `.subckt NAME hot cold emf`: the winding between hot and cold; the voltage from `emf` to `cold` is what the field induces.
///
/// The loss lies parallel to L with the EMF inside the pair. Metal is a chain of shorted turns: what each takes of L stands in
/// series with the rest, its loss across it, and the EMF is shaped by a chain of RC circuits of the same time constants.
pub fn subcircuit(name: &str, coil: &Coil, remarks: &[String]) -> String {
    let mut s = String::new();
    for line in remarks.iter().flat_map(|r| r.lines()) {
        let _ = writeln!(s, "* {line}");
    }
    let _ = writeln!(
        s,
        "* hot, cold: the winding's ends; emf: drive it against cold with the voltage that the field induces"
    );
    let _ = writeln!(s, ".subckt {} hot cold emf", identifier(name));
    let _ = writeln!(s, "Rin emf cold 1e9");
    let begin = field(&mut s, coil);
    winding(&mut s, coil, begin);
    if let Some(ohm) = coil.loss_ohm {
        let _ = writeln!(s, "Rloss behind cold {ohm:e}");
    }
    let _ = writeln!(s, "Rwind behind hot {:e}", coil.r_ohm);
    if coil.c_f > 0.0 {
        let _ = writeln!(s, "Cwind hot cold {:e}", coil.c_f);
    }
    let _ = writeln!(s, ".ends {}", identifier(name));
    s
}

/// The source; its far end is what the metal leaves of the EMF.
fn field(s: &mut String, coil: &Coil) -> &'static str {
    let Some(e) = coil.eddy.filter(|e| e.emf != 0.0) else {
        let _ = writeln!(s, "Efield field cold emf cold 1");
        return "field";
    };
    let turns = e.of_emf().turns();
    // One volt per volt at low frequency, across all of the chain.
    let _ = writeln!(s, "Gmetal cold shape0 emf cold {:e}", 1.0 / SHAPE_OHM);
    for (i, (r, t)) in turns.iter().enumerate() {
        let ([from, to], ohm) = (link("shape", i, turns.len(), "cold"), r * SHAPE_OHM);
        let _ = writeln!(s, "Rshape{i} {from} {to} {ohm:e}");
        let _ = writeln!(s, "Cshape{i} {from} {to} {:e}", t / ohm);
    }
    let _ = writeln!(s, "Efield field cold emf cold {:e}", 1.0 - e.emf);
    let _ = writeln!(s, "Emetal source field shape0 cold {:e}", e.emf);
    "source"
}

/// The inductance, from `begin` to the node `behind`.
fn winding(s: &mut String, coil: &Coil, begin: &str) {
    let Some(e) = coil.eddy.filter(|e| e.k != 0.0) else {
        let _ = writeln!(s, "Lwind {begin} behind {:e}", coil.l_h);
        return;
    };
    let (turns, taken) = (e.turns(), e.k * e.k);
    let _ = writeln!(s, "Lwind {begin} turn0 {:e}", coil.l_h * (1.0 - taken));
    for (i, (r, t)) in turns.iter().enumerate() {
        let ([from, to], henry) = (link("turn", i, turns.len(), "behind"), coil.l_h * taken * r);
        let _ = writeln!(s, "Lturn{i} {from} {to} {henry:e}");
        let _ = writeln!(s, "Rturn{i} {from} {to} {:e}", henry / t);
    }
}

/// The nodes of one link in a chain of so many, the last of which leads to `end`.
fn link(stem: &str, i: usize, of: usize, end: &str) -> [String; 2] {
    let to = if i + 1 == of {
        end.into()
    } else {
        format!("{stem}{}", i + 1)
    };
    [format!("{stem}{i}"), to]
}

/// Simulators read letters, digits and underscores; a name begins with a letter.
pub fn identifier(name: &str) -> String {
    let clean: String = name
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
        .collect();
    match clean.chars().next() {
        Some(c) if c.is_ascii_alphabetic() => clean,
        _ => format!("coil_{clean}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line without its star would be an element.
    #[test]
    fn every_line_of_a_remark_is_one() {
        let s = subcircuit("a", &Coil::new(6e3, 2.4, 0.0), &["one\nsimulated: two".into()]);
        assert!(s.starts_with("* one\n* simulated: two\n* hot"), "{s}");
    }

    #[test]
    fn names_that_a_simulator_reads() {
        assert_eq!(identifier("neck-7"), "neck_7");
        assert_eq!(identifier("7 neck"), "coil_7_neck");
        assert_eq!(identifier("Öl"), "coil__l");
        assert_eq!(identifier(""), "coil_");
    }
}

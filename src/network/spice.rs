//! A coil as a subcircuit for circuit simulators, in the notation that they share since SPICE 2 (Nagel, UCB/ERL M520, 1975):
//! R, L, C, E and K elements only.

use std::fmt::Write;

use super::coil::Coil;

/// Inductance that stands for the shorted turn; only its time constant counts.
const TURN_H: f64 = 1.0;

/// `.subckt NAME hot cold emf`: the winding between hot and cold; the voltage from `emf` to `cold` is what the field induces.
///
/// The loss lies parallel to L with the EMF inside the pair; metal is a shorted turn coupled to L, and shapes the EMF by an
/// RC circuit of its own.
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
    // The source's far end: what the metal leaves of the EMF.
    let begin = match coil.eddy {
        Some(e) => {
            // jwT/(1 + jwT) of the EMF, by a capacitor into a resistor of 1 kilohm.
            let _ = writeln!(s, "Eside side cold emf cold 1");
            let _ = writeln!(s, "Cside side turn {:e}", e.tau_s / 1e3);
            let _ = writeln!(s, "Rside turn cold 1e3");
            let _ = writeln!(s, "Efield field cold emf cold 1");
            let _ = writeln!(s, "Eturn source field turn cold {:e}", -e.emf);
            "source"
        }
        None => {
            let _ = writeln!(s, "Efield field cold emf cold 1");
            "field"
        }
    };
    let _ = writeln!(s, "Lwind {begin} behind {:e}", coil.l_h);
    if let Some(e) = coil.eddy {
        let _ = writeln!(s, "Lturn ring cold {TURN_H:e}");
        let _ = writeln!(s, "Rturn ring cold {:e}", TURN_H / e.tau_s);
        let _ = writeln!(s, "Kturn Lwind Lturn {:e}", e.k);
    }
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

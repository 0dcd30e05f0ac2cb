//! The whole job without any hardware, and what it says one can do next.

use crate::bench::Folder;
use crate::screens::shows;

/// A command as a shell takes it apart: every other piece between quotes is one argument.
fn words(line: &str) -> Vec<&str> {
    let mut args = Vec::new();
    for (i, piece) in line.split('"').enumerate() {
        if i % 2 == 1 {
            args.push(piece);
        } else {
            args.extend(piece.split_whitespace());
        }
    }
    args
}

#[test]
fn the_demonstration_does_what_it_says() {
    let f = Folder::new();
    let run = f.run(&["demo", "--out", "d"]).ended(0);
    shows("demo", &run);
    let mut kinds = Vec::new();
    for folder in f.list("d") {
        let inside = f.path(&format!("d/{folder}"));
        if inside.join("record.json").exists() {
            let record = f.record(&format!("d/{folder}"));
            assert!(
                record["notes"].as_array().unwrap().contains(&"simulated".into()),
                "{folder}"
            );
            assert!(inside.join("take.wav").exists() && inside.join("response.png").exists());
            kinds.push(record["verdict"].as_str().unwrap().to_string());
        } else if inside.join("page.html").exists() {
            assert!(inside.join("coil.toml").exists() && inside.join("cables.png").exists());
            kinds.push("page".into());
        } else if folder == "pages" {
            assert_eq!(f.list("d/pages").len(), 8);
            kinds.push("pages".into());
        } else if inside.is_dir() {
            assert_eq!(
                f.list(&format!("d/{folder}")),
                ["compare.json", "overlay.png", "overlay.svg"]
            );
            kinds.push("compared".into());
        }
    }
    for kind in ["ok", "rejected", "compared", "page", "pages"] {
        assert!(kinds.iter().any(|k| k == kind), "{kind}: {kinds:?}");
    }
    // The commands that it names work as they stand there, and find the same.
    let mut named = 0;
    for line in run.out.lines().filter_map(|l| l.trim().strip_prefix("coilwright ")) {
        let mut args = words(line);
        args.push("--json");
        let again = f.run(&args).ended(0).json();
        named += 1;
        if args[0] == "analyze" {
            let folder = args[1].strip_suffix("/take.wav").unwrap();
            assert_eq!(again["resonance"], f.record(folder)["resonance"], "{line}");
        }
    }
    assert!(named >= 2, "{}", run.out);
    the_commands_of_its_page_work(&f);
    its_page_shows_the_plots_beside_it(&f);
}

#[test]
fn the_demonstration_is_one_document_and_writes_over_nothing() {
    let f = Folder::new();
    let document = f.run(&["demo", "--out", "d", "--json"]).ended(0).json();
    assert_eq!(document["schema"], "coilwright/demo/1");
    for file in document["records"].as_array().unwrap() {
        f.record(file.as_str().unwrap().strip_suffix("/record.json").unwrap());
    }
    for file in document["comparisons"].as_array().unwrap() {
        assert!(!f.bytes(file.as_str().unwrap()).is_empty());
    }
    let before = f.bytes("d/1-short-cable/record.json");
    for json in [&[][..], &["--json"]] {
        f.run(&[&["demo", "--out", "d"], json].concat())
            .refused(&["is there already", "--out"]);
        f.run(&[&["demo", "--out", "../no/such"], json].concat())
            .refused(&["no/such", "does not exist"]);
    }
    assert_eq!(f.bytes("d/1-short-cable/record.json"), before);
    assert_eq!(f.list(""), ["d"]);
}

/// Every command on the page works where the page says that it does.
fn the_commands_of_its_page_work(f: &Folder) {
    let page = String::from_utf8(f.bytes("d/pots-and-cables/page.html")).unwrap();
    let mut commands = 0;
    for rest in page.split("<pre>").skip(1) {
        let line = rest.split("</pre>").next().unwrap().replace("&quot;", "\"");
        let all = words(&line);
        let (program, args) = all.split_first().unwrap();
        assert_eq!(*program, "coilwright");
        let run = f.command(args).current_dir(f.path("d")).output().unwrap();
        assert!(run.status.success(), "{line}: {}", String::from_utf8_lossy(&run.stderr));
        commands += 1;
    }
    assert!(commands >= 8, "{commands}");
}

/// The page shows the plots that lie beside it, and holds no others.
fn its_page_shows_the_plots_beside_it(f: &Folder) {
    let page = String::from_utf8(f.bytes("d/pots-and-cables/page.html")).unwrap();
    let plots = f.list("d/pots-and-cables").into_iter().filter(|n| n.ends_with(".svg"));
    let mut shown = 0;
    for name in plots {
        let plot = String::from_utf8(f.bytes(&format!("d/pots-and-cables/{name}"))).unwrap();
        let drawing = &plot[plot.find("<svg").unwrap()..];
        assert_eq!(page.matches(drawing).count(), 1, "{name}");
        shown += 1;
    }
    assert_eq!(page.matches("<svg").count(), shown);
}

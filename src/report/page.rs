//! A page for a browser: words, tables and plots in one file that needs nothing beside it.

use super::plot::Plot;
use super::sheet::escaped;

/// What stands on a page, in order.
#[derive(Debug, Clone)]
pub enum Block {
    Heading(String),
    Text(String),
    /// Set off: what must not be overlooked.
    Notice(String),
    /// A command to type.
    Command(String),
    /// The first row is the head.
    Table(Vec<Vec<String>>),
    /// With what it shows, for those who cannot see it.
    Picture(Box<Plot>, String),
}

const STYLE: &str = "body{font:17px/1.5 sans-serif;color:#111;background:#fff;max-width:46em;margin:2em auto;padding:0 1em}\
h1{font-size:1.6em;line-height:1.2}h2{font-size:1.2em;margin-top:2em}\
table{border-collapse:collapse;margin:1em 0}th,td{text-align:left;padding:.2em 1.2em .2em 0;border-bottom:1px solid #ccc}\
pre{background:#f3f3f0;padding:.6em;white-space:pre-wrap}\
.notice{border-left:5px solid #111;padding:.2em .8em;font-weight:bold}\
svg{width:100%;height:auto}figure{margin:1em 0}\
@media print{body{max-width:none;margin:0}figure,table{break-inside:avoid}}";

/// The page as HTML.
pub fn html(title: &str, blocks: &[Block]) -> String {
    let mut s = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width\">\n<title>{0}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<h1>{0}</h1>\n",
        escaped(title)
    );
    for block in blocks {
        match block {
            Block::Heading(t) => s.push_str(&format!("<h2>{}</h2>\n", escaped(t))),
            Block::Text(t) => s.push_str(&format!("<p>{}</p>\n", escaped(t))),
            Block::Notice(t) => s.push_str(&format!("<p class=\"notice\">{}</p>\n", escaped(t))),
            Block::Command(t) => s.push_str(&format!("<pre>{}</pre>\n", escaped(t))),
            Block::Table(rows) => s.push_str(&table(rows)),
            Block::Picture(plot, words) => {
                // The drawing itself, without the prologue of a file of its own.
                let drawing = plot.svg.find("<svg").map_or("", |at| &plot.svg[at..]);
                s.push_str(&format!(
                    "<figure role=\"img\" aria-label=\"{}\">\n{drawing}\n</figure>\n",
                    escaped(words)
                ));
            }
        }
    }
    s.push_str("</body>\n</html>\n");
    s
}

fn table(rows: &[Vec<String>]) -> String {
    let mut s = String::from("<table>\n");
    for (i, row) in rows.iter().enumerate() {
        let tag = if i == 0 { "th" } else { "td" };
        let cells: String = row.iter().map(|c| format!("<{tag}>{}</{tag}>", escaped(c))).collect();
        s.push_str(&format!("<tr>{cells}</tr>\n"));
    }
    s.push_str("</table>\n");
    s
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_typed_in_becomes_markup() {
        let page = html(
            "neck <7> & \"more\"",
            &[
                Block::Text("a < b".into()),
                Block::Table(vec![vec!["<th>".into()], vec!["1".into()]]),
                Block::Picture(
                    Box::new(Plot {
                        svg: "<?xml version=\"1.0\"?>\n<svg width=\"1\"></svg>".into(),
                        png: vec![],
                    }),
                    "a \"picture\"".into(),
                ),
            ],
        );
        assert!(page.contains("<h1>neck &lt;7&gt; &amp; &quot;more&quot;</h1>"));
        assert!(page.contains("<p>a &lt; b</p>") && page.contains("<th>&lt;th&gt;</th>"));
        assert!(page.contains("<svg width=\"1\">") && !page.contains("<?xml"));
        // All in one file: nothing is fetched from anywhere.
        assert!(!page.contains("http") && !page.contains("src="));
    }
}

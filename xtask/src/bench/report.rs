//! Tables, as Markdown.

/// All that was measured, and on what.
pub struct Report {
    machine: String,
    tables: Vec<Table>,
}

/// A table, and what it shows.
pub struct Table {
    shows: String,
    rows: Vec<Vec<String>>,
}

impl Report {
    /// Nothing yet.
    pub fn new(machine: String) -> Self {
        let tables = Vec::new();
        Self { machine, tables }
    }

    /// One table more.
    pub fn add(&mut self, table: Table) {
        self.tables.push(table);
    }

    /// As it stands in a text.
    pub fn markdown(&self) -> String {
        let tables: String = self.tables.iter().map(Table::markdown).collect();
        format!(
            "Measured by `cargo xtask bench` on: {}.\n{tables}",
            self.machine
        )
    }
}

impl Table {
    /// Under this sentence, with these names of columns.
    pub fn new<Name: Into<String>>(
        shows: impl Into<String>,
        columns: impl IntoIterator<Item = Name>,
    ) -> Self {
        Self {
            shows: shows.into(),
            rows: vec![columns.into_iter().map(Into::into).collect()],
        }
    }

    /// One row more.
    pub fn row<Cell: Into<String>>(&mut self, cells: impl IntoIterator<Item = Cell>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Rows of what, and how much.
    pub fn extend(&mut self, rows: impl IntoIterator<Item = (String, String)>) {
        rows.into_iter()
            .for_each(|(what, much)| self.row([what, much]));
    }

    fn markdown(&self) -> String {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |column: usize| {
            let cells = self.rows.iter().filter_map(|row| row.get(column));
            cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        let line = |row: &Vec<String>| {
            let cells = widths.iter().enumerate().map(|(column, &width)| {
                let cell = row.get(column).map_or("", String::as_str);
                match column {
                    0 => format!(" {cell:<width$} |"),
                    _ => format!(" {cell:>width$} |"),
                }
            });
            format!("|{}\n", cells.collect::<String>())
        };
        let rule = widths
            .iter()
            .enumerate()
            .map(|(column, width)| match column {
                0 => format!("-{}|", "-".repeat(width + 1)),
                _ => format!("-{}:|", "-".repeat(*width)),
            });
        let rule = format!("|{}\n", rule.collect::<String>());
        let mut lines = self.rows.iter().map(line);
        let head = lines.next().unwrap_or_default();
        format!(
            "\n{}\n\n{head}{rule}{}",
            self.shows,
            lines.collect::<String>()
        )
    }
}

/// Microseconds, to three figures or so.
pub fn micros(seconds: f64) -> String {
    let micros = seconds * 1e6;
    match micros {
        100.0.. => format!("{micros:.0}"),
        10.0.. => format!("{micros:.1}"),
        _ => format!("{micros:.2}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_markdown() {
        let mut table = Table::new("Ferries", ["", "us"]);
        table.row(["night", "12.5"]);
        let text = "\nFerries\n\n|       |   us |\n|-------|-----:|\n| night | 12.5 |\n";
        assert_eq!(table.markdown(), text);
    }

    #[test]
    fn small_times_keep_their_figures() {
        let told = [0.000_000_123_4, 0.000_012_34, 0.001_234].map(micros);
        assert_eq!(told, ["0.12", "12.3", "1234"]);
    }
}

//! A recipe planned with other values, beside its own plan. Nothing is written.

use std::io::{self, Write};

use evenpass_core::document::{Changed, Problem, Problems};
use evenpass_core::learn::apply;
use evenpass_core::plan::forecast::EXPECTED_TO_FAIL;
use evenpass_core::plan::{Note, Plan, Weight, plan};
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::check_together;
use serde_json::{Value, json};

use super::figures::{Figure, Group, groups};
use crate::cli::say;
use crate::cli::sheet::{Layout, Sheet};
use crate::files::{Job, Source};
use crate::learning::{Learned, Lessons, lessons};

/// How the option is called in messages.
const OPTION: &str = "--set";

/// How the uncertainty beside a figure is read.
const WHAT_A_BAND_SAYS: &str = "\
± is one standard deviation of the figure: how far a part that is sprayed may be off. A difference
within ± does not show on one part. With the same torch and powder most of it is the same in both
plans, and the difference itself is known better.";

/// Both plans.
pub(super) struct WhatIf<'a> {
    /// The job with the changes.
    pub(super) job: Job,
    /// Its plan.
    pub(super) plan: Plan,
    changes: &'a [String],
    own_job: &'a Job,
    own: &'a Plan,
    title: &'a str,
}

impl<'a> WhatIf<'a> {
    /// Plans a job with other values; warnings that the recipe itself does not have go to
    /// standard error.
    ///
    /// # Errors
    /// Every problem, as a person is to read it.
    pub(super) fn of(
        job: &'a Job,
        own: &'a Plan,
        changes: &'a [String],
        from: Lessons<'_>,
    ) -> Result<Self, String> {
        let Source { name, text } = &job.recipe_source;
        let changed = Changed::make(text, changes, OPTION)?;
        let shown = |problems: &Problems| {
            let told = changed.render(problems, OPTION, name);
            // The file's own lines are in order: what is told there comes of the changes.
            if told.contains(&format!("--> {name}:")) {
                format!(
                    "{told}This comes of {}. `{OPTION} FIELD=` leaves a field out.\n",
                    listed(changes)
                )
            } else {
                told
            }
        };
        let (own_recipe, own_catalogue) = job.as_written();
        let mut recipe =
            Recipe::read(changed.text(), own_catalogue).map_err(|problems| shown(&problems))?;
        let warnings = recipe.warnings(own_catalogue);
        // Another powder or torch has lessons of its own.
        let mut catalogue = own_catalogue.clone();
        let taught = lessons(from, &job.rig, &recipe, &catalogue)?;
        let written = Box::new((recipe.clone(), catalogue.clone()));
        apply(&taught, &mut recipe, &mut catalogue);
        let differs = written.0 != recipe || written.1 != catalogue;
        let learned = Learned { lessons: taught, as_written: differs.then_some(written) };
        let together = check_together(&recipe, &job.rig, &catalogue);
        if together.forbid() {
            return Err(shown(&together));
        }
        let known: Vec<Problem> = own_recipe
            .warnings(own_catalogue)
            .into_iter()
            .chain(check_together(&job.recipe, &job.rig, &job.catalogue))
            .collect();
        let warnings = warnings.into_iter().chain(together);
        let new: Problems = warnings.filter(|warning| !known.contains(warning)).collect();
        if !new.is_empty() {
            say::complain(&shown(&new));
        }
        let plan = plan(&recipe, &job.rig, &catalogue)
            .map_err(|problems| format!("{name} with {}:\n{problems}\n", listed(changes)))?;
        let title = &job.recipe.title;
        let own_job = job;
        let job = Job { recipe, catalogue, learned, ..job.clone() };
        Ok(Self { job, plan, changes, own_job, own, title })
    }

    /// Both plans' figures side by side, with what differs.
    pub(super) fn print(&self, mut to: impl Write) -> io::Result<()> {
        writeln!(to, "{}: what if", say::one_line(self.title))?;
        for change in self.changes {
            writeln!(to, "  {}", say::one_line(change))?;
        }
        for (whose, plan) in [("the recipe's own plan", self.own), ("the changed plan", &self.plan)]
        {
            let failing = of_weight(&plan.notes, Weight::Fails);
            if !failing.is_empty() {
                writeln!(to, "\n{EXPECTED_TO_FAIL}: {whose}")?;
                print_notes(&failing, &mut to)?;
            }
        }
        writeln!(to)?;
        Row::print(["", "", "own", "changed", "difference"], &mut to)?;
        for pair in self.pairs() {
            writeln!(to, "{}", say::harmless(&pair.title))?;
            for row in &pair.rows {
                Row::print(row.cells().each_ref().map(String::as_str), &mut to)?;
            }
        }
        if self.has_bands() {
            writeln!(to, "\n{WHAT_A_BAND_SAYS}")?;
        }
        for (heading, notes) in [
            ("Notes that only the changes bring", only(&self.plan.notes, &self.own.notes)),
            ("Notes that the changes take away", only(&self.own.notes, &self.plan.notes)),
        ] {
            if !notes.is_empty() {
                writeln!(to, "\n{heading}")?;
                print_notes(&notes, &mut to)?;
            }
        }
        writeln!(to, "\nNothing is written: to keep a change, write it into the recipe.")
    }

    /// The same for programs.
    pub(super) fn as_json(&self) -> Value {
        let figures: Vec<Value> = self
            .pairs()
            .iter()
            .flat_map(|pair| pair.rows.iter().map(|row| row.as_json(&pair.title)))
            .collect();
        json!({
            "changes": self.changes,
            "recipe": self.job.recipe,
            "figures": figures,
            "own": { "forecast": self.own.forecast, "notes": self.own.notes },
            "changed": { "forecast": self.plan.forecast, "notes": self.plan.notes },
        })
    }

    fn has_bands(&self) -> bool {
        let mut rows = self.pairs().into_iter().flat_map(|pair| pair.rows);
        rows.any(|row| row.own.or(row.changed).is_some_and(|figure| figure.sigma.is_some()))
    }

    fn pairs(&self) -> Vec<Pair> {
        let (own, changed) = (groups(self.own_job, self.own), groups(&self.job, &self.plan));
        let count = own.len().max(changed.len());
        (0..count).map(|index| Pair::of(own.get(index), changed.get(index))).collect()
    }
}

/// "--set a=1 --set b=2".
fn listed(changes: &[String]) -> String {
    changes.iter().map(|change| format!("{OPTION} '{change}'")).collect::<Vec<_>>().join(" ")
}

fn of_weight(notes: &[Note], weight: Weight) -> Vec<&Note> {
    notes.iter().filter(|note| note.weight == weight).collect()
}

/// The notes that the others lack, but for those for which a plan fails: they stand on top.
fn only<'n>(notes: &'n [Note], others: &[Note]) -> Vec<&'n Note> {
    let told = of_weight(notes, Weight::Told).into_iter();
    told.filter(|note| !others.contains(note)).collect()
}

fn print_notes(notes: &[&Note], to: &mut impl Write) -> io::Result<()> {
    let mut sheet = Sheet::new(2, &[("", Layout::Prose)]);
    notes.iter().for_each(|note| sheet.row([format!("- {note}")]));
    sheet.print(to)
}

/// The same group of both plans.
struct Pair {
    title: String,
    rows: Vec<Row>,
}

/// The same figure of both plans; one may lack it.
struct Row {
    own: Option<Figure>,
    changed: Option<Figure>,
}

impl Pair {
    fn of(own: Option<&Group>, changed: Option<&Group>) -> Self {
        let title = match (own, changed) {
            (Some(own), Some(changed)) if own.title != changed.title => {
                format!("{} -> {}", own.title, changed.title)
            }
            (Some(group), _) | (None, Some(group)) => group.title.clone(),
            (None, None) => String::new(),
        };
        let figures = |group: Option<&Group>| group.map_or_else(Vec::new, |g| g.figures.clone());
        let (own, mut changed) = (figures(own), figures(changed));
        let mut rows: Vec<Row> = own
            .into_iter()
            .map(|own| {
                let same = changed.iter().position(|figure| figure.what == own.what);
                Row { changed: same.map(|place| changed.remove(place)), own: Some(own) }
            })
            .collect();
        rows.extend(changed.into_iter().map(|figure| Row { own: None, changed: Some(figure) }));
        Self { title, rows }
    }
}

impl Row {
    /// What the changes add, between the figures as they are told; `None` when that is nothing,
    /// or when one plan lacks the figure.
    fn difference(&self) -> Option<f64> {
        let (own, changed) = (self.own.as_ref()?.rounded(), self.changed.as_ref()?.rounded());
        (own != changed).then_some(changed - own)
    }

    /// Whether a difference is no larger than what either figure is known to.
    fn is_within(&self, difference: f64) -> bool {
        let sigma = |figure: &Option<Figure>| figure.as_ref().and_then(|figure| figure.sigma);
        let known = sigma(&self.own).into_iter().chain(sigma(&self.changed)).reduce(f64::max);
        known.is_some_and(|known| difference.abs() <= known)
    }

    fn cells(&self) -> [String; 5] {
        let told = |figure: &Option<Figure>| figure.as_ref().map_or("-".to_owned(), Figure::told);
        let known = self.own.as_ref().or(self.changed.as_ref());
        let difference = match (known, self.difference()) {
            (Some(figure), Some(more)) => {
                let known = if self.is_within(more) { ", within ±" } else { "" };
                format!("{more:+.*}{known}", figure.places)
            }
            _ => String::new(),
        };
        [
            known.map_or("", |figure| figure.what).to_owned(),
            known.map_or("", |figure| figure.unit).to_owned(),
            told(&self.own),
            told(&self.changed),
            difference,
        ]
    }

    /// One line: what, its unit, both values, what differs.
    fn print(
        [what, unit, own, changed, difference]: [&str; 5],
        to: &mut impl Write,
    ) -> io::Result<()> {
        let line = format!("  {what:<22} {unit:<8} {own:>15} {changed:>15} {difference:>20}");
        writeln!(to, "{}", line.trim_end())
    }

    fn as_json(&self, group: &str) -> Value {
        let known = self.own.as_ref().or(self.changed.as_ref());
        let value = |figure: &Option<Figure>| figure.as_ref().map(|figure| figure.value);
        json!({
            "group": group,
            "what": known.map(|figure| figure.what),
            "unit": known.map(|figure| figure.unit),
            "own": value(&self.own),
            "changed": value(&self.changed),
            "own_sigma": self.own.as_ref().and_then(|figure| figure.sigma),
            "changed_sigma": self.changed.as_ref().and_then(|figure| figure.sigma),
            "difference": value(&self.changed).zip(value(&self.own)).map(|(b, a)| b - a),
        })
    }
}

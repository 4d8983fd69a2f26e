//! What somebody enters for the record of a run. It is checked where the command line has it checked,
//! and written into the records by a thread that may wait for the disk: nothing of it reaches the
//! machine, nobody needs the seat for it, and an inspector may sit elsewhere.

use axum::extract::{Form, Path, State};
use axum::response::Response;

use super::in_records;
use super::typed::Typed;
use crate::adding::{Field, NotAdded, Why};
use crate::panel::app::App;
use crate::panel::asking::{Reply, Seal};
use crate::panel::given::Given;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::record::{RunId, Store};
use crate::shown::one_line;

/// The name of the field that says what is entered.
pub(super) const WHAT: &str = "add";

/// What can be entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Entered {
    Diameters,
    Thickness,
    Hardness,
    RunOut,
    DyeCheck,
    HoldPoint,
    Release,
    Coupon,
    Particular,
    Deviation,
    Decision,
    TakenBack,
}

impl Entered {
    const ALL: [Self; 12] = [
        Self::Diameters,
        Self::Thickness,
        Self::Hardness,
        Self::RunOut,
        Self::DyeCheck,
        Self::HoldPoint,
        Self::Release,
        Self::Coupon,
        Self::Particular,
        Self::Deviation,
        Self::Decision,
        Self::TakenBack,
    ];

    /// The word that a form says it by.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Diameters => "diameters",
            Self::Thickness => "thickness",
            Self::Hardness => "hardness",
            Self::RunOut => "run-out",
            Self::DyeCheck => "dye-check",
            Self::HoldPoint => "hold-point",
            Self::Release => "release",
            Self::Coupon => "coupon",
            Self::Particular => "particular",
            Self::Deviation => "deviation",
            Self::Decision => "decide",
            Self::TakenBack => "take-back",
        }
    }

    /// Who may: a deviation is signed by the engineer, who decides what counts.
    pub(super) const fn right(self) -> Right {
        match self {
            Self::Deviation => Right::Engineer,
            _ => Right::Run,
        }
    }
}

/// A field's name in a form; one of several readings has its number behind it.
pub(super) const fn name(field: Field) -> &'static str {
    match field {
        Field::Person => "person",
        Field::Date => "date",
        Field::Gauge => "gauge",
        Field::DiameterPlace | Field::ReadingPlace => "at",
        Field::Diameter => "diameter",
        Field::Before => "before",
        Field::Temperature => "temperature",
        Field::TemperatureWithin => "temperature_within",
        Field::Micrometer => "micrometer",
        Field::Reading => "reading",
        Field::Coat => "coat",
        Field::Stage => "stage",
        Field::RunOut => "run_out",
        Field::DyeResult => "result",
        Field::Showed => "showed",
        Field::Point => "point",
        Field::Coupon => "coupon",
        Field::Name => "name",
        Field::Words => "words",
        Field::Limit => "limit",
        Field::From => "from",
        Field::To => "to",
        Field::Verdict => "verdict",
        Field::Reason => "reason",
        Field::Number => "number",
    }
}

/// The same of one of several readings.
pub(super) fn name_at(field: Field, row: usize) -> String {
    format!("{}.{row}", name(field))
}

/// Something is entered.
pub(in crate::panel) async fn add(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let word = Given(&form).one(WHAT);
    let what: String = one_line(&format!("record {id}: {word}")).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &Seal::of(&form), &what) {
        return refused;
    }
    match add_it(&app, &visitor, id, form).await {
        Ok(number) => {
            let done = format!("number {number}");
            visitor.told(&app, &format!("{what}: {done}"), Reply::done_so(done))
        }
        Err(reply) => visitor.told(&app, &what, reply),
    }
}

async fn add_it(
    app: &App,
    visitor: &Visitor,
    id: String,
    form: Vec<(String, String)>,
) -> Result<i64, Reply> {
    let word = Given(&form).one(WHAT);
    let known = Entered::ALL.into_iter().find(|one| one.word() == word);
    let entered = known.ok_or_else(|| Reply::refused(texts::UNKNOWN_REQUEST))?;
    visitor.right(entered.right())?;
    let person = visitor.name.to_string();
    let catalogue = app.inside.options.catalogue.clone();
    let written = move |store: Store| {
        let typed = Typed { given: Given(&form), catalogue };
        typed.write(store, &id, entered, &person).map_err(told)
    };
    in_records(app, visitor, written).await.map_err(Reply::refused)?
}

/// What a field is called where it is refused.
const fn title(field: Field) -> &'static str {
    use texts::adding as words;
    match field {
        Field::Person => words::PERSON,
        Field::Date => words::DAY,
        Field::Gauge => words::GAUGE,
        Field::DiameterPlace | Field::ReadingPlace => words::PLACE,
        Field::Diameter => words::DIAMETER,
        Field::Before => words::BEFORE,
        Field::Temperature => words::TEMPERATURE,
        Field::TemperatureWithin => words::TEMPERATURE_WITHIN,
        Field::Micrometer => words::MICROMETER,
        Field::Reading => words::READING,
        Field::Coat => words::COAT_THERE,
        Field::Stage => words::STAGE,
        Field::RunOut => words::RUN_OUT,
        Field::DyeResult => words::DYE_CHECK,
        Field::Showed => words::SHOWED,
        Field::Point => words::KEEP_POINT,
        Field::Coupon => words::KEEP_COUPON,
        Field::Name => words::NAME,
        Field::Words => words::IN_WORDS,
        Field::Limit => words::LIMIT,
        Field::From => words::FROM,
        Field::To => words::TO,
        Field::Verdict => words::DECIDED,
        Field::Reason => texts::REASON,
        Field::Number => words::NUMBER_OF,
    }
}

/// A refusal as the page shows it.
fn told(problem: NotAdded) -> Reply {
    let with = |run: RunId, why: &str| format!("run {run}: {why}");
    match problem {
        NotAdded::Field(wrong) => {
            let field = match wrong.row {
                Some(row) => name_at(wrong.field, row),
                None => name(wrong.field).to_owned(),
            };
            let why = format!("{}: {}", title(wrong.field), sentence(&wrong.why));
            Reply::wrong(field, why, wrong.why.help)
        }
        NotAdded::Rehearsed(_) => Reply::refused(texts::adding::REHEARSED),
        NotAdded::UnknownRig(run) => Reply::refused(with(run, texts::adding::UNKNOWN_RIG)),
        NotAdded::Run(run, why) => Reply::denied(with(run, &sentence(&why)), why.help),
        NotAdded::Open(run, open) => {
            let open: Vec<String> = open.iter().map(ToString::to_string).collect();
            let why = format!("{}: {}", texts::adding::CANNOT_PASS, open.join("; "));
            Reply::denied(with(run, &why), texts::adding::PASS_HELP)
        }
        NotAdded::Catalogue(why) => Reply::refused(sentence(&why)),
        NotAdded::Files(problem) => Reply::refused(problem),
        NotAdded::Records(problem) => Reply::refused(problem.whole()),
    }
}

/// What was found and what is accepted, in a sentence.
fn sentence(why: &Why) -> String {
    if why.accepted.is_empty() {
        return why.told.clone();
    }
    format!("{}; accepted: {}", why.told, why.accepted)
}

//! What people read on the panel, in one place. What the core says of causes, states and prompts
//! stands beside them in the core.

macro_rules! texts {
    ($($name:ident = $words:literal;)+) => {
        $(pub(super) const $name: &str = $words;)+
    };
}

texts! {
    PRODUCT = "Evenpass";
    RUN = "Run";
    MAINTENANCE = "Maintenance";
    RECIPES = "Recipes";
    RECORDS = "Records";
    BENCH = "Twin's bench";
    SIGN_IN = "Sign in";
    SIGN_OUT = "Sign out";
    NAME = "Name";
    PIN = "PIN";
    UNITS = "Units";
    USE_THESE = "Use these";

    STOP = "Stop";
    HOLD = "Hold";
    RESTART = "Restart";
    START = "Start";
    ACCEPT = "Accept";
    WET = "Wet";
    NOT_WET = "Not wet";
    ACKNOWLEDGE = "Acknowledge";
    RESET = "Reset";
    INSPECTED = "Inspected after flashback";
    HOLD_AFTER_PASS = "Finish this pass, then hold";
    HOLDS_AFTER_PASS = "Holds after this pass";
    BAD_FLAME = "Bad flame";
    COAT_LIFTING = "Coat lifting";
    HOME = "Home the carriage";
    LEAVE_JOB = "Done with this job";
    BLASTED_NOW = "Part was blasted just now";
    LOAD = "Load";

    TAKE_SEAT = "Take the seat";
    ASK_FOR_SEAT = "Ask for the seat";
    GIVE_SEAT = "Give";
    KEEP_SEAT = "Keep";
    LEAVE_SEAT = "Leave the seat";
    SEAT_FREE = "Nobody commands";
    SEAT_YOURS = "You command";
    COMMANDS = "commands";
    ASKS_FOR_SEAT = "asks for the seat";
    SEAT_ASKED = "its holder has been asked; no answer in 15 s gives it to you";
    SEAT_BUSY = "somebody else is already asking for the seat";

    TRIPPED = "Tripped";
    HELD = "Held";
    WARNING = "Warning";
    MACHINE_DID = "The machine did";
    TO_DO = "To do now";
    MEANWHILE = "Meanwhile";
    AFTER_IT = "Followed";
    RESET_NEEDS = "Before a reset";
    LAST_TRY = "Last time";
    NOT_KEPT = "The record cannot be written; the run goes on";
    ANSWER_WITHIN = "to be answered within";

    PERMISSIVES = "Before a start";
    GIVEN = "given";
    PART_TEMPERATURE = "Part";
    COAT_TEMPERATURE = "Coat, fusing";
    FUEL = "Fuel";
    OXYGEN = "Oxygen";
    CARRIER = "Carrier";
    BELOW = "below";
    ABOVE = "above";
    TO = "to";
    OF = "of";
    ON = "on";
    OFF = "off";
    NOT_KNOWN = "not known";
    PLACE = "Torch at";
    FEED = "Feed";
    SPINDLE = "Spindle";
    FLAME = "Flame";
    POWDER = "Powder";
    PASS = "Pass";
    TIME_LEFT = "Left";
    PARK = "park";
    PART_PICTURE = "The part with torch and coat";
    COAT_KEY = "coat: solid estimated, dashed predicted so far, dotted planned";

    CHOOSE = "Choose a recipe";
    NO_JOB = "No job is loaded";
    FORECAST = "Forecast";
    PASSES = "passes";
    SET_UP = "Set up";
    SET_UP_LIST = "Undercut, degreased, blasted; masked outside the zones.|Clamped; the centre gives way when the part grows.|Powder dry, the lot written down; hopper filled.|Leak test done, arrestors and non-return valves fitted, no oil on oxygen.|Extraction on, respirator at hand, nobody inside.";
    CAUTION = "Caution";
    CAUTIONS = "Evenpass is no safety device. Emergency stop, gas shut-off, flame safeguard, guard and hard limits are wired and work without it. The torch maker's handbook, local codes and licensed practice override every figure here. Acetylene never above 1.03 bar gauge. Hot and rotating part: keep clear. After a flashback: stop, cool, inspect. Set-points are examples until you have proved them.";
    NOT_LIVE = "NOT LIVE: the connection is lost, what is shown is old. Use the buttons at the machine.";
    ON_TWIN = "twin: no gas, no motion";

    NO_RECORDS = "Nothing has been run yet.";
    MORE_RUNS = "Older ones: evenpass records list";
    RUN_ID = "Run";
    BEGAN = "Began";
    TITLE = "Part";
    OUTCOME = "Outcome";
    TOOK = "Took";
    COURSE = "Course";
    ASKED = "What people asked";
    TEMPERATURE = "Temperature";
    PRESSURE = "Pressure";
    ZONE = "Zone";
    POWDER_ON = "Powder on";
    POWDER_OFF = "Powder off";
    PLANNED = "planned";
    UNFINISHED = "unfinished";
    HOLDS_AND_TRIPS = "Holds, stops and trips";
    TOTALS = "Totals";
    EFFECT = "Effect";
    EFFECT_ASKED = "asked";
    EFFECT_SENT = "on the wire";
    EFFECT_READ = "read back";
    EFFECT_SEEN = "seen";

    SIGN_IN_FIRST = "sign in first";
    WRONG_PIN = "name or PIN is wrong";
    NOBODY_ADDED_ELSEWHERE = "Nobody has been added yet. Whoever is at the machine may go on; from elsewhere only a stop is taken. Add people with: evenpass people add NAME --role engineer";
    NO_HOST = "the request names no host";
    OTHER_HOST = "the panel is not called by that name; use its address, or start it with --name";
    OTHER_ORIGIN = "the request comes from a page that is not the panel's";
    NOT_OUR_FORM = "the request does not come from a page of this session";
    NO_ID = "the request has no id of its own";
    ASKED_BEFORE = "this request was answered before; nothing was done again";
    UNKNOWN_REQUEST = "nothing of that name can be asked";
    THIS_NEEDS = "this needs";
    NO_SUCH_RECIPE = "there is no recipe of that name in the folder";
    TOO_MANY_STREAMS = "too many pages look on already; close some";
    BENCH_FOR = "What on a machine are key, buttons, guard and lighter; here they belong to the twin. Simulated hands open and shut the guard and light the torch when they are asked to.";
    NO_TWIN = "there is no twin here";
    NOT_FOUND = "There is no such page.";
}

//! What people read where they add to the record of a run.

texts! {
    INSPECTION = "Inspection";
    DECIDED = "Decided";
    NOT_DECIDED = "Nothing is decided about its part yet.";
    LIMIT = "Limit";
    LIMITS = "Limits";
    FOUND = "Found";
    STANDS_AGAINST = "Stands against a pass";
    SINCE_OPEN = "Since then open";
    NOTHING_STANDS = "Nothing stands against a pass.";
    ADDED = "Added so far";
    NOTHING_ADDED = "Nothing was added yet.";
    NUMBER = "No";
    WHO = "Who";
    WHAT = "What";
    TAKEN_BACK = "taken back by";
    READ_COLD = "cold";

    ADD = "Add to the record";
    ADD_FOR = "It stands in the record with your name and never changes; a mistake is taken back, and stays too. Every figure with its unit.";
    REHEARSED = "This run was rehearsed, and a rehearsal makes no part: nothing is added to it.";
    ENTER = "Enter it";

    DIAMETERS = "Diameters against the plan";
    DIAMETERS_FOR = "Between two passes or after the last one: each is corrected to cold and held against the plan. No pass is changed by it.";
    DIAMETER = "Diameter with its coat";
    BEFORE = "Before, cold (if read)";
    TEMPERATURE = "Part was at (cold when left out)";
    TEMPERATURE_WITHIN = "Temperature usually off by";
    MICROMETER = "Micrometer usually off by";
    AS_SPRAYED = "It was measured before it was fused";

    THICKNESS = "Thickness";
    THICKNESS_FOR = "Of one side, place by place.";
    THICKNESS_THERE = "Thickness there";
    STAGE = "The coat was";

    HARDNESS = "Hardness";
    HARDNESS_FOR = "Each with its scale.";
    HARDNESS_THERE = "Hardness there";
    COAT = "Coat there (the thinnest that was read when left out)";

    RUN_OUT = "Run-out";
    RUN_OUT_READ = "What the dial gauge showed in a turn";
    DYE_CHECK = "Dye check";
    DYE_RESULT = "What showed";
    SHOWED = "Where and what";

    NOTE = "Note";
    NOTE_FOR = "A hold point stands against a pass until it is released.";
    POINT = "What is to be seen before the part is passed";
    KEEP_POINT = "Hold point";
    COUPON = "Coupon, by its number";
    COUPON_WORDS = "What of it";
    KEEP_COUPON = "Coupon";
    NAME = "What of the part (drawing, serial, heat ...)";
    PARTICULAR_WORDS = "What it is";
    KEEP_PARTICULAR = "Of the part";

    DEVIATION = "Deviation";
    DEVIATION_FOR = "Whoever enters it signs for it. A limit that is signed for stands no longer against a pass.";
    DEVIATION_WORDS = "What is otherwise";
    DEVIATION_LIMIT = "The limit that is not kept";
    NO_LIMIT = "none of them";
    DEVIATION_REASON = "Why that is taken";
    FROM = "What should be";
    TO = "What is";

    DECIDE = "Decide";
    DECIDE_FOR = "A part of a complete run passes without a reason.";
    TAKE_BACK = "Take back";
    TAKE_BACK_FOR = "It stays in the record, and counts no more.";
    TAKE_BACK_WHAT = "What was a mistake";
    RELEASE = "Seen: release it";

    PLACE = "Place from the chuck face";
    DATE = "Day it was read (today when left out)";
    DAY = "Day";
    READING = "Reading";
    COAT_THERE = "Coat there";
    IN_WORDS = "Words";
    NUMBER_OF = "Number";
    GAUGE = "Gauge, by its serial number";
    PERSON = "Your name";

    NOTHING_GIVEN = "nothing is given";
    FOUND_READINGS = "found readings:";
    UP_TO = "at once up to";
    WHAT_WAS_READ = "a place and what was read there, both with their units";
    A_NUMBER = "the number of something that was added";
    CANNOT_PASS = "its part cannot pass yet";
    PASS_HELP = "Release hold points, have an engineer sign for a limit, or hold the part.";
    UNKNOWN_RIG = "its rig file is of another version of this program and cannot be read";
}

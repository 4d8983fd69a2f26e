//! What people read about orders.

texts! {
    BATCH = "Batch";
    BATCHES = "Batches";
    NO_BATCHES = "No order was taken in yet: evenpass batch make takes one in.";
    MORE_BATCHES = "Older ones: evenpass batch list";
    ORDER_PAGE = "Its parts and report";
    ANOTHER_ORDER = "Another order";
    SHIFT_REPORT = "Shift report to print";
    PARTS = "Parts";
    PARTS_BEFORE = "Parts before these";
    PARTS_AFTER = "Parts after these";
    BEFORE_IT = "before it";
    NEXT = "Next";
    FIRST = "first";
    NOTHING_NEEDED = "nothing is needed before it";
    BEING_MADE = "being made";
    NO_PART_TO_MAKE = "no part is to be made";
    MAKE_ITS_PARTS = "Make parts of this order";
    MAKE_OTHERS = "Make parts of no order";
    ORDER_CHOSEN = "The parts that are made are of this order.";
    PARTS_BY_THEMSELVES = "the parts that are made are of no order";
    CHOICE_LOADS = "Nothing moves by a choice: it loads the recipe as it was ordered, unless it is loaded. The start stays a person's act, part by part.";
    ORDERED_ELSEWHERE = "its parts are made elsewhere: on";
    TELL_OF_BATCH = "Refilled, blasted, cleaned, new lot";
    IS_REFILLED = "Hopper is refilled";
    ARE_BLASTED = "Parts are blasted";
    IS_CLEANED = "Torch's tip is cleaned";
    LOT_IN_USE = "Lot is in use";
    JUST_NOW = "now, or 20 min";
    GAS_ALONE = "6000 L of gas";
    TELLING_MOVES_NOTHING = "Nothing moves by it: it stands in the record, with who told it.";
    ORDER_NOT_TOLD = "the controller has taken it, its order has not";
    TOLD_ELSEWHERE = "only somebody who stands before the machine can tell what was done there";
}

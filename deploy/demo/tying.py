"""How the joins of the scenario are tied, step by step: common practice, no source.

What a set records of a tie (turns, wraps, passes, hitches) is named where it is decided.
"""

STEPS = {
    "FG": (
        "Fix the main line (braid) so that it stays taut, between a peg and your rod or belt.",
        "Lay the end of the leader across the taut main line and wrap it over, then under, so that"
        " the main line crosses it from alternate sides. Push each wrap up against the last. Count"
        " the wraps: they are recorded.",
        "Pinch the wraps and hold them with two half hitches of the main line's end round both"
        " lines.",
        "Wet it. With gloves on, pull main line and leader apart until the braid bites into the"
        " leader and the wraps turn darker.",
        "Trim the end of the leader close to the wraps.",
        "Tie half hitches round the main line alone, from alternate sides, over the cut end. Count"
        " these finishing hitches: they are recorded. Pull each one down, and trim.",
    ),
    "Double uni": (
        "Lay the ends of the two lines side by side, pointing opposite ways, with a hand's breadth"
        " of overlap.",
        "With the end of the main line make a loop over both lines, and pass the end through it"
        " round both. These are the turns of the main line: they are recorded.",
        "Wet the turns and draw them down until they just hold.",
        "Do the same with the end of the leader round the main line. Its turns are recorded on"
        " their own; thicker line takes fewer.",
        "Wet both, and draw the two towards each other by the long ends until they meet.",
        "Pull all four ends tight one by one, and trim the short ones.",
    ),
    "Alberto": (
        "Double the end of the leader into a long narrow loop.",
        "Pass the end of the main line through the loop and pinch it there.",
        "Wrap it round both strands of the loop, away from its end. These are the turns up: they"
        " are recorded.",
        "Turn round and wrap back over the first turns towards the end of the loop. These are the"
        " turns down: they are recorded.",
        "Pass the end through the loop on the side where it came in.",
        "Wet it, pull the main line and both strands of the leader slowly until the turns lie"
        " tight, then pull hard on the long ends. Trim.",
    ),
    "Surgeon's": (
        "Lay the end of the main line beside the end of the leader, two hands' breadth of overlap.",
        "Make a loop of both lines together.",
        "Pass the short end of the main line and the whole leader through the loop together. How"
        " often they pass is recorded as passes.",
        "Wet it, and pull all four strands evenly until it is tight.",
        "Trim the short ends.",
    ),
    "Blood": (
        "Cross the two lines and wrap the end of the main line round the leader. Count the turns:"
        " they are recorded.",
        "Bring the end back and put it through between the two lines, where they first crossed.",
        "Wrap the end of the leader round the main line on the other side, in the opposite sense."
        " Its turns are recorded on their own; thicker line takes fewer.",
        "Put that end through the same gap from the other side, so that the two ends point"
        " opposite ways.",
        "Wet it, and pull the long ends slowly until the turns gather. Then pull hard, and trim.",
    ),
    "Leader hitch over needle": (
        "Lay a needle or thin rod along the main line as a core.",
        "Lay the leader along the needle, and wrap its end round main line and needle, side by"
        " side. Count the turns: they are recorded.",
        "Draw the needle out a little, and thread the end of the leader under the turns along it.",
        "Take the needle out, wet the turns, and draw them down by both ends of the leader.",
        "Tie a stopper or half hitches in the main line if the set is to have them; say so in its"
        " note. Pull hard with gloves on, and trim.",
    ),
    "Albright": (
        "Double the end of the thicker line, or the wire, into a loop.",
        "Pass the end of the thinner line through the loop and pinch it along both strands.",
        "Wrap it back round itself and both strands towards the end of the loop, turn by turn."
        " Count the turns: they are recorded.",
        "Pass the end out through the loop on the side where it came in.",
        "Wet it (wire aside), slide the turns up to the end of the loop, and pull all the ends in"
        " turn until nothing slips. Trim.",
    ),
    "Palomar": (
        "Double the line and pass the loop through the eye; if the set is of a single strand, say"
        " so.",
        "Tie a simple overhand with the doubled line, the hook hanging loose below it.",
        "Pass the whole hook through the loop. Keep its point away from your fingers.",
        "Wet it, and pull both strands until the loop lies above the eye and is tight. Trim.",
    ),
    "Improved clinch": (
        "Pass the end of the line through the eye.",
        "Wrap it round the standing line, away from the eye. Count the turns: they are recorded.",
        "Put the end through the small loop next to the eye.",
        "Then put it through the large loop that this has made.",
        "Wet it, pull the standing line until the turns lie side by side at the eye, and trim.",
    ),
    "Uni": (
        "Pass the end of the line through the eye and lay it back along the standing line.",
        "Make a loop with the end, lying over both strands.",
        "Pass the end through the loop, round both strands. Count the turns: they are recorded.",
        "Wet it, and pull the end until the turns just hold.",
        "Slide it down to the eye by the standing line, pull hard, and trim.",
    ),
}

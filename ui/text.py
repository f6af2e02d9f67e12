"""Every word on the page, in one place, so that it can be translated."""

from __future__ import annotations

from digitise.anatomy import LimbKind, Side
from digitise.care.safety.arteries import KIND_WORDS
from digitise.care.safety.signs import CONDITIONS as ASKED_CONDITIONS
from digitise.care.safety.signs import SIGNS

APP = "Limb shape digitiser"

# ---- pages -----------------------------------------------------------------------------------------
PAGE_SETUP, PAGE_VISIT, PAGE_WEEKS = "Set up", "A visit", "Weeks"
PAGE_PADDING, PAGE_TEACH, PAGE_RECORDS = "Padding and wrap", "Teach", "Records"

FOOTER = (
    "A measurement, not a diagnosis. Medical clearance and, on a leg, a check of its arteries come before any "
    "compression. The licensed practitioner and local rules decide."
)

# ---- steps that take time --------------------------------------------------------------------------
WORKING = "At work …"
STEP_LOOKING = "Looking for the marks in {}"
STEP_CAMERAS = "Working out where the camera stood"
STEP_FEET = "Finding both feet"
STEP_OUTLINES = "Finding the limb's outline"
STEP_LIMB = "Building the limb"
STEP_FOOT = "Building the foot"
STEP_HAND = "Building the hand"
STEP_CHANGE = "Comparing the two visits"
STEP_MAPS = "Looking for bulges, hollows and ridges"
STEP_PICTURE = "Drawing the picture"
STEP_SAVING = "Saving"
STEP_WAITING = "Waiting for two other visits that are worked on"
STEP_OPENING = "Opening the visit"

# ---- the visit -------------------------------------------------------------------------------------
VISIT_TITLE = "A visit"
VISIT_LEAD = "Two photographs and about five tape girths become a limb with error bars."
CLIENT_HEAD = "1 · Client"
CLIENT_CODE = "Client's code"
CLIENT_CODE_HELP = "A code with a digit in it, such as K-017. Never a name."
CLIENT_KNOWN = "{} earlier visits, the last on {}."
CLIENT_KNOWN_ONE = "1 earlier visit, on {}."
LIMB = "Limb"
LIMBS = {LimbKind.LEG: "Leg", LimbKind.ARM: "Arm"}
SIDE = "Side"
SIDES = {Side.LEFT: "Left", Side.RIGHT: "Right"}
SETUP_LYING = (
    "**Arm on a table, leg on a couch:** one sheet flat under the limb, mat beside hand or foot, the limb on two hard, "
    "narrow supports, and three photographs from above."
)
SETUP_LYING_ALT = (
    "A limb over its sheet on two supports, photographed slanting from both sides and from above."
)
SETUP_UPRIGHT = (
    "**Forearm upright:** the elbow stands in the middle of the mat on a table, hand up, backdrops close behind and to "
    "the side; two photographs as for a leg, from 0.8 to 1 m. Heights count from the mat, up to the wrist."
)
SETUP_UPRIGHT_ALT = (
    "A forearm with its elbow on the mat on a table, before a backdrop, and the phone level with it."
)
UPRIGHT_WORDS = {
    "side": "From the side",
    "mat": "mat",
    "table": "table",
    "behind": "backdrop",
    "distance": "0.8 to 1 m",
    "phone": "phone",
}
LYING_WORDS = {
    "above": "From above",
    "end": "From the end",
    "mat": "mat",
    "support": "support",
    "sheet": "sheet",
    "distance": "about 1 m",
}
LIES = "How is it held?"
LIES_NAMES = {
    LimbKind.LEG: {"": "Stands", "both-feet": "Both feet", "on-back": "Lies on back"},
    LimbKind.ARM: {"": "Upright", "palm-down": "Lies, palm down", "palm-up": "Lies, palm up"},
}
BOTH_FEET_LEAD = (
    "Both feet stand on the mat, half a step before each other, with air between the legs. Three photographs: from the "
    "front, from the left and from the right, a plain panel or wall behind both legs each time."
)
LANDMARK = "Tap the landmark"
LANDMARK_LEAD = {
    LimbKind.ARM: "Tap the crease of the wrist, the same place that the tape's heights count from. Next time tap it again.",
    LimbKind.LEG: "Tap the tip of the ankle bone, the same place that the tape's heights count from. Next time tap it again.",
}
LANDMARK_PHOTO = "In which photograph?"
LANDMARK_SET = "Heights count from the cross. Tap elsewhere to move it."
LANDMARK_ALT = (
    "Photograph with the limb: tap the landmark, or move the cross with the arrow keys and press Enter."
)
AXIS = "Where the arm lies"
AXIS_LEAD = (
    "Leave this empty when the arm stands upright on the mat. Otherwise give two points on its middle line, in mm from the "
    "middle of the mat: x to the right, y along the arrow, z up. Heights are then counted from the lower point."
)
AXIS_POINTS = ("Lower point, at the hand", "Upper point, towards the shoulder")
AXIS_NUMBER = "{}, mm"
CLEARANCE = "Has a licensed practitioner cleared compression?"
CLEARANCES = {"yes": "Yes", "no": "No", "not-asked": "Not asked yet"}
CLEARANCE_OPEN = "Not cleared: measuring is fine, but nobody wraps before a practitioner has said yes."
FLAGS = "Any of these today?"
NO_FLAG = "none"
FLAGS_NONE = "Warning signs were asked about at this visit: none."
FLAG_NAMES = {NO_FLAG: "None of these", **{sign.code: sign.words for sign in SIGNS}}
MORE = "More about this visit"
POSTURE = "Posture"
POSTURES = {"": "Not noted", "standing": "Standing", "sitting": "Sitting", "lying": "Lying"}
MEASURED_BY = "Measured by (initials)"
CLEARED_BY = "Cleared by (initials)"
NOTE = "Note (no names)"
DAY, HOUR = "Date of the visit", "Time"
DAY_NOW = "now"
DAY_WRONG = "Write the date like 2026-03-02 and the time like 09:15; not in the future."
DAY_OF_PHOTOS = "Dated {}, when the photographs were taken. Change it under “{}”."

# ---- safety, asked once ------------------------------------------------------------------------------
SAFETY_ASK = "Conditions and arteries"
SAFETY_LEAD = "Asked once of a client, and again after {} days."
NO_CONDITION = "none"
CONDITIONS = "Does the client have any of these?"
CONDITION_NAMES = {NO_CONDITION: "None of these", **{one.code: one.words for one in ASKED_CONDITIONS}}
CONDITIONS_ASKED = "Last asked on {}."
CONDITIONS_SAVE = "Asked today: keep these answers"
CHECKS = "Checks of the arteries"
CHECKS_NONE = "None is noted. On a leg one comes before any wrap."
CHECK_KINDS = {kind: words[0].upper() + words[1:] for kind, words in KIND_WORDS.items()}
CHECK_KIND, CHECK_RESULT, CHECK_DAY = "Check", "Result (pressures in mmHg)", "Date of the check"
CHECK_SIDE, CHECK_BY = "Leg", "By (initials)"
CHECK_SIDES = {"left": "Left", "right": "Right", "both": "Both"}
CHECK_FELT = {"felt": "Felt", "not-felt": "Not felt"}
CHECK_SAVE, CHECK_REMOVE = "Note this check", "Remove"
WITHHELD = (
    "**Withheld:** places to pad, foam, wrap sheet, home card and girth list wait until this is settled."
)
WITHHELD_REPORT = "Places to pad, wrap sheet and girths wait until what is open on this client is settled."

PHOTOS_HEAD = "2 · Photographs"
PHOTOS_UPLOAD = "Two photographs, about a quarter turn apart"
PHOTOS_HELP = (
    "JPEG, PNG or HEIC, as the phone saved them. On a phone this opens its camera too. A field.json or a tape.csv "
    "may be dropped here as well. For a change from week to week four are better: both once more, mat and foot "
    "turned by an eighth of a turn. For the foot add a photograph from above it."
)
CAMERA_TOGGLE = "Use this device's camera"
CAMERA = "Take a photograph"
CAMERA_CAPTION = "Pictures from a web camera are coarse; the phone's own camera measures better."
CAMERA_NAME = "camera.jpg"
SHEETS = "Sheets in the pictures"
SHEETS_NAMES = {"a4": "A4 set", "letter": "Letter set", "roll": "Roll set", "own": "Other (field.json)"}
SHEETS_SEEN = "The photographs show the **{}**, but **{}** is chosen."
SHEETS_USE = "Use {}"
OWN_FIELD_MISSING = "Drop the field.json of these sheets above, beside the photographs."
PRINT_SCALE = "Print scale"
PRINT_SCALE_HELP = "1 when the printed ruler is true; otherwise measured/printed, such as 98.5/100."
PHOTO_NAME = "Photograph {}"
PHOTO_REMOVE = "Remove photo {}"
PHOTO_SIGN = {"note": "Good", "warning": "Usable", "refuse": "Cannot be used"}
PHOTO_ALT = "Photograph {} with the marks that were found"
PHOTO_ALL_NOTES = "What was checked"
SAME_VISIT = "All of these photographs are of this visit: measure anyway"
TOO_MANY_PHOTOS = "Twelve photographs are the most; remove one first."

# ---- from the phone ----------------------------------------------------------------------------------
PAIR = "Photographs from the phone"
PAIR_WHAT = "For ten minutes one phone on this network can send photographs into this visit, encrypted, and reach nothing else."
PAIR_SCAN = "Open the phone's camera, point it at the code, and open the address it shows."
PAIR_QR_ALT = "Code with the address of the upload page"
PAIR_NETWORK = "Network"
PAIR_CLAIMED = "A phone is connected."
PAIR_CAME = "From the phone: {} photographs."
PAIR_CAME_ONE = "From the phone: 1 photograph."
PAIR_LEFT = "Ends by itself in {}:{:02d}."
PAIR_END = "End now"
PAIR_AGAIN = "Show a new code"
PAIR_NO_NETWORK = "This computer is on no network that a phone could share."
PAIR_OTHER_WAYS = (
    "**Other ways:** connect the phone by cable and choose its photographs above; or start with `digitise ui --watch "
    "FOLDER`, a folder that the phone's photographs are copied to, and new ones appear here."
)
UPLOAD_PAGE = {
    "title": "Photographs for the open visit",
    "lead": (
        "They go to the computer that showed the code, encrypted, and stand in the visit as they arrive. Nothing else "
        "of that computer can be reached from here."
    ),
    "no_script": "This page needs JavaScript: allow it in the browser's settings.",
    "waiting": "Connecting …",
    "camera": "Take a photograph",
    "choose": "Choose photographs",
    "hint": "As the phone saves them, up to 60 MB each. Keep this page open until all have arrived.",
    "list": "What was sent",
}
UPLOAD_NOT_KEPT = (
    "The computer cannot keep it: its disk is full or cannot be written. Make room there, then send it again."
)
UPLOAD_WORDS = {
    "open": "Connected. Ends in {}.",
    "waits": "Waits",
    "sending": "Is being sent …",
    "arrived": "Has arrived",
    "not_sent": "Not sent.",
    "again": "Try again",
    "too_large": "Not sent: it is larger than 60 MB. Send the photograph as the phone's camera saved it.",
    "no_code": "The code is missing. Scan the code that the computer shows.",
    "wrong": "This is not the code that the computer shows now. Scan it again.",
    "used": "This code was used by another phone or tab. Show a new one on the computer, and scan it.",
    "closed": "The visit is not open any more. Show a new code on the computer, in the visit that is.",
    "ended": "The connection has ended. Show a new code on the computer, and scan it.",
}
WATCH_LINE = "New pictures in **{}** appear here."
WATCH_OLDER = "Taken before this visit was opened, so perhaps of another client: {}."
WATCH_TAKE = "Take them in"

LENS = "Lens profile of this phone (optional)"
LENS_USED = "Lens profile of this phone: in use"
LENS_LEAD = "Made once per phone with `digitise lens`. It makes the scale a little surer."
LENS_UPLOAD = "lens.json"
LENS_FILE = "lens.json"
LENS_DROP = "Measure without it"

TAPE_HEAD = "3 · Tape"
TAPE_LEAD = "About five girths. Heights are counted from the mat."
TAPE_LEAD_LYING = "About five girths. Heights are counted from the landmark, along the limb."
UNIT = "Unit"
UNIT_NAMES = {"cm": "centimetres", "in": "inches"}
UNIT_ALL = "Lengths in"
LANGUAGE = "Language"
ROW_HEIGHT = "Height {}, row {}"
ROW_GIRTH = "Girth {}, row {}"
COLUMN_HEIGHT, COLUMN_GIRTH, COLUMN_CHECK = "Height, {}", "Girth, {}", "Against the photographs"
ROW_ADD = "Add a row"
ROW_REMOVE = "Remove row {}"
ENDS = {LimbKind.LEG: "On the foot", LimbKind.ARM: "On the hand"}
ENDS_LEAD = (
    "They stand beside the limb, in the girth list and in the course, and in no volume of the photographs."
)
END_PLACE, END_ADD, END_REMOVE = "Where the tape lay", "Add", "Remove {}"
END_READ = "The tape read, {}"
END_LENGTH = "This length is {} to {}."
END_COLUMNS = ("Taped on foot or hand", "Tape, {}", "Photographs, {}", "Verdict")
ROW_GIRTH_MISSING = "Type the girth."
ROW_HEIGHT_MISSING = "Type the height."
ROW_NO_NUMBER = "“{}” is no number."
ROW_TWICE = "This height stands in row {} already."
ROW_HEIGHT_ZERO = "The height must be above 0."
ROW_HEIGHT_TOO_HIGH = "{} is higher than a limb."
ROW_GIRTH_OUTSIDE = "A girth is {} to {}."
ROW_MEANT = "Meant {}, which is {}?"
UNIT_KEPT = "The numbers stay as typed and now count as {}."
UNIT_CONVERT = "Convert them instead"
ADVICE_ROW = "Row {}: {}"
ADVICE = {
    "swapped-digits": "Two digits exchanged?",
    "unit-slip": "Another unit?",
    "swapped-rows": "Two rows exchanged?",
    "check-row": "Measure it again, or check the outline there.",
    "steep-step": "Girths rarely change so fast. Measure both again.",
    "unusual-girth": "Unusual for an adult’s limb. Check the unit.",
}
ADVICE_LIKELY = "{} would fit {:.0f} times better."
ADVICE_ALL = {
    "swapped-columns": "Heights and girths look exchanged.",
    "height-unit": "The heights look typed in another unit.",
    "unit-slip-all": "All girths look typed in another unit. Check cm or in.",
    "ratio-all": "All girths differ from the photographs by the same share. Was the sheet printed at 100 %? Is the tape sound?",
}
VERDICT_SIGN = {"agrees": "✓", "differs": "△", "suspect": "✗", "not seen": "–"}
VERDICT = {
    "agrees": "agrees: tape {}",
    "differs": "differs: tape {}; both are used",
    "suspect": "suspect: tape {}; measure again",
    "not seen": "outside the photographs",
}
RANGE, BETWEEN = "{} to {}", "{} and {}"
TAPE_MORE, TAPE_LESS = "{} more", "{} less"
HEIGHTS_FROM_LAST = "Heights of the last visit are filled in, so that the girths can be compared."

RESULT_HEAD = "The limb"
RESULT_WAITS = "Still needed:"
WAITS_LIMB, WAITS_SIDE, WAITS_PHOTOS = "which limb", "which side", "two photographs that can be used"
WAITS_LANDMARK = "a tap on the landmark from which heights count"
WAITS_AXIS = "all six numbers of the arm's two points, or none"
WAITS_CODE, WAITS_CLEARANCE, WAITS_FLAGS = (
    "a client's code",
    "the clearance question",
    "the question about warning signs",
)
WAITS_DAY = "a sound date"
WAITS_ROW = "row {} of the tape mended or removed"
STATUS_NO_LIMB = "No limb yet"
STATUS_DOUBTS = "{} doubtful edges: look, then save."
STATUS_DOUBT = "1 doubtful edge: look, then save."
STATUS_SUSPECT = "Row {} of the tape is suspect: measure it again, or save."
STATUS_SUSPECTS = "Rows {} of the tape are suspect: measure them again, or save."
STATUS_NEEDS = "Still needed:"
STATUS_READY = "Look at the outlines, then save."
OTHER_TAB = "This visit is open in another tab too. What was typed there stands here now."
OTHER_TAB_CLASH = "Changed in both tabs, check: {}."
CLASHES = {
    "client": "code",
    "limb": "limb",
    "side": "side",
    "lies": "how it is held",
    "landmark": "landmark",
    "places": "foot or hand",
    "clearance": "clearance",
    "flags": "warning signs",
    "note": "note",
    "unit": "unit",
}
CLEARED = "Cleared."
UNDO = "Undo"
RESULT_EMPTY = (
    "Here the limb appears: its shape to turn, its girths and its volume, each with how sure it is. "
    "No sheets yet? Begin with **Set up**."
)
VOLUME = "Volume"
END = {"foot": "Foot", "hand": "Hand"}
END_SENTENCE = {
    "foot": "Below {top}, from heel to toes {length}. Girths, to be confirmed with a tape: {girths}.",
    "hand": "Beyond {top}, from wrist to finger tip {length}. Girths, to be confirmed with a tape: {girths}.",
}
TOGETHER = {"foot": "Leg and foot together", "hand": "Arm and hand together"}
END_ALT = "Photograph {} with the edge of foot or hand drawn"
PHOTO_LEFT_OUT = "Photograph {} was not used: see what to keep in mind, below."
VOLUME_SENTENCE = "95 % sure between {low} and {high} mL, from {bottom} to {top} {along}."
ALONG = {LimbKind.LEG: "above the mat", LimbKind.ARM: "along the arm"}
NO_TAPE = "From the photographs alone. Tape girths make it surer."
CONES = "Cones from the same tape: {} mL. {}"
SHAPE_ALT = "The limb in three dimensions; it can be turned and zoomed"
SHAPE_HINT = "Drag to turn."
KEYS = (
    *(
        (str(n), name)
        for n, name in enumerate(
            (PAGE_SETUP, PAGE_VISIT, PAGE_WEEKS, PAGE_PADDING, PAGE_TEACH, PAGE_RECORDS), 1
        )
    ),
    ("k", "Client's code"),
    ("p", "Give photographs"),
    ("t", "First row of the tape"),
    ("o", "Correct an outline"),
    ("s", "Save"),
    ("b", "The other limb, same client"),
    ("n", "Next visit"),
    ("f", "Find a visit"),
)
KEYS_TITLE, KEYS_ON, KEYS_CLOSE = "Keys", "Keys are on", "Close"
KEYS_HINT = "Press ? for the keys of the commonest steps."
LIMB_VIEW = {
    "limb": "Limb in three dimensions: arrow keys turn it, plus and minus zoom, Home sets it back",
    "left": "Turn left",
    "right": "Turn right",
    "larger": "Larger",
    "smaller": "Smaller",
    "reset": "Set back",
    "resetShort": "Set back",
}
SECTION = "section"
SECTION_SLIDER = "Section at height, {}"
SECTION_ALT = "Outline of the section with the band it lies in"
SECTION_SENTENCE = "At {height}: girth {girth} (95 %: {low} to {high})"
SECTION_NAME = "Section"
SECTION_OUTLINE, SECTION_BAND = "outline", "95 % band"
PROFILE = "Girths"
PROFILE_ALT = "Girth along the limb with its band and the tape readings"
PROFILE_GIRTH, PROFILE_HEIGHT = "girth, {}", "height, {}"
PROFILE_LINE, PROFILE_BAND = "girth", "95 % band"
TAPE_POINTS = {
    "agrees": "tape, agrees",
    "differs": "tape, differs",
    "suspect": "tape, suspect",
    "not seen": "tape, not used",
}
OUTLINES = "Outlines"
OUTLINES_LEAD = "Does the line follow the skin? If not, correct it."
OUTLINE_ALT = "Photograph {} with the outline that was found"
CORRECT = "Correct outline {}"
CORRECTED = "Corrected by hand"
CORRECTION_DROP = "Undo all corrections of {}"
WARNINGS = "Before you rely on it"
LIMITS = "How far to trust it"
CAUTION = "Caution"
SAVE = "Save visit"
SAVE_CHANGES = "Save changes"
SAVED = "Saved as visit {} of {}."
SAVED_LOCKED = "Saved as visit {}. It can be found under Records."
CHANGED = "Visit {} of {} is changed and saved."
CHANGE_TITLE = "Change visit {} of {}"
CHANGE_LEAD = (
    "Correct what was wrong: an outline, a tape row, an answer, the note. Then save: the changed visit takes the place "
    "of the old one, with its date."
)
CHANGE_DROP = "Leave it as it was"
REOPEN = "Open again to change it"
REOPEN_NOTHING = "It was saved without its photographs or their sheets, so it cannot be measured again."
REOPEN_NEW = "Keep it as it is, or measure the limb as a new visit."
VISIT_NAME = "Visit {}"
NEXT = "Next visit"
START_OVER = "Clear and start over"
CONTINUE = "Continue"
UNSAVED_HEAD = "Unsaved visits"
UNSAVED_LINE = "{} · {} photographs · {}"
UNSAVED_CHANGE = "change of visit {}"
NO_CODE = "no code"
DOWNLOAD_MODEL = "Figures (model.json)"
ERROR_DO = "**What to do:** {}"

OTHER_LIMB = "The other limb, same client"
OTHER_LEG = "The other leg, same photographs"
BOTH = "Both limbs"
BOTH_MORE = "The {larger} holds **{value} mL{percent} more** than the {smaller} (95 % sure between {low} and {high} mL)."
BOTH_PERCENT = " or {} %"
BOTH_SAME = (
    "**No clear difference** between the {larger} and the {smaller} (95 % sure between {low} and {high} mL)."
)
BOTH_BETWEEN = "Between {} and {}, the heights that both measured."
BOTH_CARE = "Healthy limbs differ a little too; where both are swollen, neither is a measure for the other."

AS_TABLE = "{} as a table"
GIRTH_COLUMNS = ("Height, {}", "Girth, {}", "95 % between", "Tape")
SECTION_COLUMNS = ("Section", "Girth, {}", "Width, {}", "Depth, {}")
COURSE_COLUMNS = ("Visit", "Volume, mL", "95 % between", "Other limb, mL", "Excess, mL")
WRAP_PRESSURES = ("Height, {}", "Pressure (estimate), mmHg")

# ---- correcting an outline ---------------------------------------------------------------------------
EDITOR_WORDS = {
    "pull": "Pull the edge",
    "round": "Draw round the limb",
    "limb": "Paint limb",
    "background": "Paint background",
    "undo": "Undo",
    "zoomIn": "Larger",
    "zoomOut": "Smaller",
    "fit": "Whole limb",
    "doubtful": "Next doubtful place",
    "close": "Close the line",
    "done": "Done",
    "picture": "Photograph with the outline to correct",
    "left": "left edge",
    "right": "right edge",
    "point": "point",
    "of": "of",
    "tools": "Tool",
    "brush": "Brush",
    "reach": "How far a pull reaches",
    "near": "Reach: near",
    "middle": "Reach: middle",
    "far": "Reach: far",
    "hints": {
        "pull": "Pull the line onto the skin. Its neighbours follow. Two fingers zoom.",
        "round": "Tap or draw round the part to measure: up one side, down the other. Then close the line.",
        "limb": "Paint what is limb.",
        "background": "Paint what is not limb.",
    },
}
DRAW_TITLE = "Draw the limb in photograph {}"
DOUBTFUL = {
    "left": "Left edge unsure, {} to {}.",
    "right": "Right edge unsure, {} to {}.",
}
NO_CAMERA = "It is not known where the camera stood."

# ---- set up ------------------------------------------------------------------------------------------
SETUP_TITLE = "Set up"
SETUP_LEAD = "Once: print the sheets, put them up, mark where the camera goes. Ten minutes."
SETUP_STEPS = (
    (
        "Print",
        "Print at 100 % (no “fit to page”) on plain matt paper. Measure the ruler on a sheet: it must be 100 mm.",
    ),
    (
        "Put up",
        "The mat lies flat on the floor. One backdrop stands behind the heel, one beside the limb, about a right "
        "angle apart, 30 to 50 cm from the foot.",
    ),
    (
        "Stand",
        "Bare foot on the drawing, toes along the arrow, clothing tucked up. The other foot half a step back and "
        "aside. Keep still between the photographs.",
    ),
    (
        "Photograph",
        "From both camera places, phone upright at knee height, 1.5 to 2 m away, at 1×, no flash. In the picture: "
        "the whole mat, the limb, the backdrop behind it. For the foot one more from above: phone level at arm's "
        "length over the foot, the whole foot and the mat round it.",
    ),
)
SETUP_LITTLE_ROOM = (
    "Little room? One backdrop and one camera place are enough: after the first photograph turn mat and foot "
    "together by a quarter turn and take the second from the same place. For four, turn by an eighth each time."
)
SETUP_DOWNLOAD = "Download the sheets"
SETUP_PAPER = "Paper"
PAPERS = {"a4": "A4", "letter": "Letter", "roll": "Roll (print shop)"}
SETUP_SCALE_LINE = "Ruler not 100 mm? Write e.g. 98.5/100"
SETUP_PLAN_ALT = "Seen from above: the foot on the mat, one backdrop behind the heel, one beside the limb, a camera opposite each"
SETUP_SIDE_ALT = (
    "Seen from the side: the phone at knee height, 1.5 to 2 metres from the limb, the backdrop behind it"
)
SETUP_TEST = "Try one photograph"
SETUP_TEST_LEAD = "Is the place good? One photograph tells, before a client comes."
SETUP_TEST_UPLOAD = "A test photograph"
SETUP_TEST_GOOD = "Good: nothing to change."
PLAN_WORDS = {
    "above": "Seen from above",
    "side": "Seen from the side",
    "behind": "backdrop A",
    "beside": "backdrop B",
    "first": "camera 1",
    "second": "camera 2",
    "distance": "1.5 to 2 m",
    "mat": "mat",
    "knee": "knee height",
    "toes": "toes",
}

# ---- weeks -------------------------------------------------------------------------------------------
WEEKS_TITLE = "Weeks"
WEEKS_LEAD = "One limb over its visits: what has changed, where, and whether it still changes."
PICK_CLIENT, PICK_LIMB = "Client", "Limb"
NO_RECORDS = "Nothing is saved yet. Measure a visit and save it; then it is found here."
SAMPLE_OPEN = "Open the sample"
SAMPLE_SHOWN = "This is the sample, not a client."
SAMPLE_KEPT = "The sample is among the visits."
SAMPLE_REMOVE = "Remove the sample"
REPORT = "Report (PDF)"
REPORT_LEAD = "Volume, girths, change and course, with pictures. Add:"
REPORT_PRESSING = {"places": "places to pad", "wrap": "wrap sheet", "garment": "girths for a garment"}
REPORT_CODE = "the client’s code"
REPORT_MAKE = "Make the report"
WRAP_PDF = "Make the wrap sheet (PDF)"
HOME_PDF = "Make the home card (PDF)"
DOWNLOAD = "Download {}"
STEP_PAPER = "Making the PDF"
TAPE_COLUMNS = ("Height, {}", "Tape, {}", "Photographs, {}", "Verdict")
VERDICT_SHORT = {"agrees": "agrees", "differs": "differs", "suspect": "suspect", "not seen": "not seen"}
NO_RECORDS_GO = "Measure a visit"
ONE_VISIT = "One visit is saved. From the second on, changes show here."
EARLIER, LATER = "Earlier visit", "Later visit"
COURSE = "Volume over the visits"
COURSE_ALT = "Volume of each visit with its interval, over time"
COURSE_VOLUME = "volume, mL"
COURSE_BETWEEN = "Between {} and {}, the heights that every one of these visits measured."
COURSE_THIS, COURSE_OTHER = "this limb", "the other limb"
BILATERAL = "Both limbs are swollen"
BILATERAL_HELP = "Then the other limb is no measure for this one, and no percentage of excess is given."
VERDICT_COURSE = "Course: {}"
MORE_ABOUT_COURSE = "More about the course"
CHANGE_HEAD = "What has changed"
CHANGE_ALT = "Where the limb has grown or shrunk, in three dimensions"
CHANGE_LEGEND = "thickness, {}"
CHANGE_LEGEND_SIDES = "Blue: thinner. Brown: thicker. Grey: no clear change."
CHANGE_SENTENCE = (
    "The limb is **{verdict}**: {value} mL, {percent} % (95 % sure between {low} and {high} mL)."
)
CHANGE_COLUMNS = ("Where", "Heights, {}", "Change, mL", "95 % sure", "Verdict")
BOTH_SECTIONS_ALT = "Both visits' outlines at one height"
EARLIER_SHORT, LATER_SHORT, CHANGE_LABEL = "Earlier", "Later", "Change"

# ---- padding -----------------------------------------------------------------------------------------
PADDING_TITLE = "Padding and wrap"
PADDING_LEAD = (
    "Where the limb bulges, dips or has an edge, and what the wrap needs. For a trained person to judge."
)
PADDING_VISIT = "Visit"
PADDING_AGAINST = "Compare with"
PADDING_AGAINST_HELP = (
    "The limb's own taper shows what is uneven, and is always used. An earlier visit or the other limb also shows where "
    "the limb is thicker than it was, or than its fellow; such places come first in the list."
)
PADDING_OWN = "Its own smooth taper"
PADDING_EARLIER = "Earlier visit, {}"
PADDING_OTHER = "Other limb ({}), {}"
PADDING_MEANS = {
    "earlier": (
        "A bulge “beyond the other visit” is a place where the limb has become thicker since then; when none is listed, no "
        "place clearly has."
    ),
    "other": (
        "A bulge “beyond the other leg” or arm is a place where this limb is thicker than the other one, mirrored. Healthy "
        "limbs differ a little too; where both are swollen, neither is a measure for the other."
    ),
}
PADDING_MAP = "Places to look at"
PADDING_ALT = "The limb with the places to look at, numbered as in the list"
PADDING_NONE = "No place stands out."
KINDS = {
    "bulge": "Bulge",
    "hollow": "Hollow",
    "ridge": "Ridge",
    "crease": "Crease",
    "inverted taper": "Inverted taper",
    "step": "Step",
}
REGION_LINE = "**{number} · {kind}**, {place}. {why} *{advice}.* :small[{confidence}{foam}]"
REGION_FOAM = ", foam {}"
SURE = {"clear": "clear", "likely": "likely"}
FOAM = "Foam pieces"
FOAM_LEAD = "Bulges, hollows and creases large enough for foam, true to size, with a ruler to check the print. Print at 100 %."
FOAM_PAPER = "Paper"
FOAM_DOWNLOAD = "Foam pieces to print (PDF)"
FOAM_NONE = "No place needs a piece, or none is large enough."
WRAP = "Wrap sheet"
WRAP_LEAD = "A starting point from common practice. Change any number; the rest follows."
WRAP_FROM_END = {
    "foot": "From {}: the layer begins behind the toes and closes the heel.",
    "hand": "From {}: the layer begins behind the knuckles, the thumb left free.",
}
WRAP_COLUMNS = ("Layer", "Width, {}", "From, {}", "To, {}", "Overlap, %", "Extension, %", "Tension, N")
PLAN_KEEP = "Keep this plan with the visit"
PLAN_KEPT = "This plan was kept with the visit: reports and sheets follow it."
PLAN_DROP = "Back to the suggested plan"
WRAP_ROLL = {"bandage": "Length of a bandage roll, m", "padding": "Length of a padding roll, m"}
WRAP_NEEDS = ("Layer", "Turns", "Length on the limb, m", "Rolls")
WRAP_ROLLS = "To take from the shelf: {}."
WRAP_ROLL_WORDS = {"bandage": "{count} × {width} bandage", "padding": "{count} × {width} padding"}
WRAP_PRESSURE = "Pressure"
WRAP_CHART = "pressure (estimate), mmHg"
WRAP_CHART_ALT = "Estimated mean pressure along the limb"
WRAP_CARE = (
    "The pressure is an estimate by Laplace's law from the tension entered; what is under the bandage differs with "
    "muscle, posture and hand. It is for comparing places, not for choosing a pressure."
)
GARMENT = "Girths for ordering a garment"
GARMENT_CHANGES = "This limb still changes over the weeks: a garment measured now would not fit for long."
GARMENT_ANYWAY = "List the girths all the same"
GARMENT_DOWNLOAD = "Girth list (CSV, mm)"
GARMENT_MISSING = "Not told from this limb: {}. Take these girths with a tape."
GARMENT_COLUMNS = ("Point", "Where", "Height, {0}", "Girth, {0}", "95 % between")

# ---- teach -------------------------------------------------------------------------------------------
TEACH_TITLE = "Teach"
TEACH_LEAD = "Where the swelling sat, and where it has gone."
TEACH_WHOSE = "Whose limb"
TEACH_WEEK = "Through the weeks"
TEACH_START = "At the start"
TEACH_AFTER = "After {} weeks"
TEACH_AFTER_ONE = "After 1 week"
TEACH_AFTER_DAYS = "After {} days"
TEACH_WORDS_START = "This is the limb before treatment began."
TEACH_WORDS_LESS = "The limb holds **{} less** than at the start. Blue shows where it became slimmer."
TEACH_WORDS_MORE = "The limb holds **{} more** than at the start. Brown shows where it became thicker."
TEACH_WORDS_SAME = "No clear change since the start."
TEACH_CUPS = "about {} cups"
TEACH_CUP = "about one cup"
TEACH_LITTLE = "less than half a cup"
TEACH_CODES = "Show codes and dates"
TEACH_STILL = "Picture (PNG)"
TEACH_HTML = "Page that opens anywhere (HTML)"
TEACH_MAKE = "Prepare the files to take away"
TEACH_ALT = "The limb in three dimensions, coloured by how much it has changed since the start"

# ---- records -----------------------------------------------------------------------------------------
RECORDS_TITLE = "Records"
RECORDS_LEAD = "Visits are kept on this computer only, by code."
RECORDS_FIND = "Find a visit"
RECORDS_FIND_HINT = "Code, limb, side or date: K-017 left 2026-03"
RECORDS_TODAY, RECORDS_EARLIER = "Today", "Earlier"
RECORDS_LINE = "{} · {} · {} · visit {}"
RECORDS_MORE = "{} more: search for them."
RECORDS_NONE_FOUND = "No visit fits."
RECORDS_BACK = "All visits"
RECORDS_GONE = "There is no visit {}."
RECORDS_NO_MODEL = "This visit holds no limb."
BACKUP = "Backup"
BACKUP_MAKE = "Make a backup"
BACKUP_DOWNLOAD = "Download the backup"
BACKUP_CARE = "It holds health data: keep it locked away."
RESTORE = "Restore"
RESTORE_LEAD = "Only into empty records. Clients forgotten after the backup come back: forget them again."
RESTORE_UPLOAD = "A backup file"
RESTORE_DO = "Restore from this file"
RESTORED = "Restored {} visits of {} clients."
FORGET = "Forget {}"
FORGET_LEAD = "Removes all visits and photographs for good. Backups made earlier are not reached."
FORGET_CONFIRM = "Type the code again to confirm"
FORGET_DO = "Forget {} for good"
FORGOTTEN = "{}: {} visits and {} photographs removed; counted again, nothing is left."

MEND = "Mend or remove this visit"
MENDED_BY = "Mended by (initials)"
MEND_DO = "Mend"
MENDED = "Visit {} of {} is mended."
MEND_NOTHING = "Nothing was changed."
MEND_SIDE = "It is the {}"
MEND_SIDE_WHY = "Wrong side? The limb is then measured again as the other one; look at it and save."
REMOVE_LEAD = (
    "Removing takes away this visit and its photographs for good. Backups made earlier are not reached."
)
REMOVE_CONFIRM = "Type {} to confirm"
REMOVED_BY = "Removed by (initials)"
REMOVE_DO = "Remove visit {} for good"
REMOVED = "Visit {} of {}: {} photographs and {} rows removed; counted again, nothing is left."
HISTORY = "History"
HISTORY_WORDS = {
    "date": "date mended from {} to {}",
    "limb": "limb mended from {} to {}",
    "given": "given to another code",
    "taken-over": "came from another code",
    "changed": "changed and saved again",
    "removed": "removed",
}
HISTORY_LINE = "{}: {}{}"
HISTORY_BY = ", by {}"
HISTORY_NAMED = "{} · visit {} · {}"
HISTORY_GONE = "Without visits, but with a history: {}."
GIRTHS_ALONE = ("Height, {}", "Girth, {}")

# ---- passphrase --------------------------------------------------------------------------------------
GATE_TITLE = "Passphrase"
GATE_LABEL = "Passphrase of this clinic"
GATE_ENTER = "Enter"
GATE_WRONG = "That is not it."
GATE_LOCKED = "Too many wrong tries. Wait {} minutes."

"""List the words that a coded field may hold, with other spellings that mean the same.

The words are the trade's plain terms and the project's own codes. Damage of gear teeth takes terms of
ISO 10825 and damage of rolling bearings terms of ISO 15243; synchroniser, slider and fork damage takes plain
words.
"""

from __future__ import annotations

from dataclasses import dataclass

from ingest.units_of_measure import LENGTH, TORQUE, Dimension


@dataclass(frozen=True)
class Word:
    """Hold one word of a vocabulary, what it means, and other spellings read as the same word."""

    word: str
    about: str
    spellings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Vocabulary:
    """Hold the words that one kind of coded field may take."""

    name: str
    about: str
    words: tuple[Word, ...]

    def codes(self) -> tuple[str, ...]:
        """Return the words as stored."""
        return tuple(word.word for word in self.words)


def _vocabulary(name: str, about: str, *words: tuple[str, str] | tuple[str, str, str]) -> Vocabulary:
    made = [Word(w[0], w[1], tuple(s.strip() for s in w[2].split("|")) if len(w) == 3 else ()) for w in words]
    return Vocabulary(name, about, tuple(made))


@dataclass(frozen=True)
class Quantity:
    """Describe a quantity that is read on the bench: its dimension and what it can mean at all."""

    word: str
    about: str
    dimension: Dimension
    low: float  # in the dimension's `written_as` unit
    high: float
    looks_like: str  # what a value above `high` looks like


QUANTITIES: tuple[Quantity, ...] = (
    Quantity("pinion_depth", "mounting distance of the pinion", LENGTH, 5, 400, "another length"),
    Quantity("backlash", "circumferential play between the gears of a pair", LENGTH, 0, 3, "another length"),
    Quantity("end_float", "axial play", LENGTH, -0.5, 5, "another length"),
    Quantity("side_total", "sum of both side packs' space", LENGTH, 0, 60, "another length"),
    Quantity("preload_torque", "running torque of the pinion alone", TORQUE, 0, 15, "a nut torque"),
    Quantity("total_preload_torque", "running torque of the whole drive", TORQUE, 0, 25, "a nut torque"),
    Quantity("breakaway_torque", "torque at which it starts to turn", TORQUE, 0, 30, "a nut torque"),
    Quantity(
        "bearing_stand_out",
        "standing height of a bearing race over its seat",
        LENGTH,
        -5,
        60,
        "another length",
    ),
    Quantity("ring_gap", "gap between synchroniser ring and cone", LENGTH, 0, 5, "another length"),
    Quantity("run_out", "run-out over one turn", LENGTH, 0, 3, "another length"),
    Quantity("pack_thickness", "measured thickness of a shim pack", LENGTH, 0, 60, "another length"),
)

VOCABULARIES: tuple[Vocabulary, ...] = (
    _vocabulary(
        "unit_kind",
        "what kind of unit a family is",
        ("gearbox", "manual gearbox", "manual gearbox|box"),
        ("transaxle", "gearbox and final drive in one housing", "trans-axle"),
        ("transfer_box", "transfer box", "transfer box|transfer case|transfer"),
        ("axle_drive", "axle drive", "axle drive|axle|differential|diff|final drive"),
    ),
    _vocabulary(
        "component",
        "kind of component at a position",
        (
            "synchroniser_ring",
            "synchroniser ring",
            "synchroniser ring|synchro ring|synchronizer ring|blocker ring",
        ),
        ("slider", "sliding sleeve of a synchroniser", "sliding sleeve|slider sleeve|sleeve"),
        ("hub", "synchroniser hub", "synchro hub"),
        ("engagement_teeth", "engagement teeth of a speed gear", "engagement teeth|dog teeth|dogs"),
        ("gear", "toothed gear", "speed gear|wheel"),
        ("shaft", "shaft"),
        ("bearing", "rolling bearing", "bearings|taper bearing|ball bearing|roller bearing"),
        ("needle_bearing", "needle bearing", "needle roller|needle cage"),
        ("fork", "selector fork", "selector fork|shift fork"),
        ("detent", "detent or interlock", "interlock"),
        ("crown_wheel_pinion", "crown wheel and pinion", "crown wheel and pinion|ring and pinion|cwp"),
        (
            "differential_gears",
            "differential pinions and side gears",
            "differential gears|side gears|planet gears",
        ),
        ("seal", "oil seal", "oil seal|shaft seal"),
        ("chain", "drive chain"),
        ("casing", "casing or cover", "case|housing"),
        ("thrust_washer", "thrust washer", "thrust washers"),
        ("shim", "shim, selective washer or circlip", "shims|selective circlip"),
        ("oil", "oil or lubricant", "lubricant"),
        ("sundry", "other small part", "sundries|other|fastener"),
    ),
    _vocabulary(
        "material",
        "lining or material where it matters",
        ("brass", "brass"),
        ("molybdenum", "molybdenum-sprayed", "moly"),
        ("carbon", "carbon lining"),
        ("sintered", "sintered lining"),
        ("steel", "steel"),
        ("cast_iron", "cast iron", "cast iron|iron"),
        ("aluminium", "aluminium", "aluminum|alloy"),
        ("polymer", "plastic or rubber", "plastic|rubber"),
    ),
    _vocabulary(
        "shim_kind",
        "what sits at a shim location",
        ("shims", "shims that stack", "shim|shim pack"),
        ("selective_circlip", "selective circlip", "selective circlip|circlip"),
        ("thrust_washer", "thrust washer", "thrust washer|washer"),
        ("graded_spacer", "graded spacer", "graded spacer|spacer"),
        ("threaded_adjuster", "threaded adjuster", "threaded adjuster|adjuster"),
        ("crush_sleeve", "crush sleeve", "crush sleeve|collapsible spacer"),
    ),
    _vocabulary(
        "thicker_moves",
        "which way a thicker pack moves the reading",
        ("increases", "thicker raises the reading", "raises|up|+|+1|longer|looser by thicker"),
        ("decreases", "thicker lowers the reading", "lowers|down|-|-1|shorter"),
    ),
    Vocabulary(
        "quantity",
        "what was read",
        tuple(Word(q.word, q.about, (q.word.replace("_", " "),)) for q in QUANTITIES),
    ),
    _vocabulary(
        "basis",
        "where a specification's target comes from",
        ("constant", "a constant of the family"),
        (
            "constant_plus_marked_deviation",
            "family constant plus the deviation marked on the set",
            "constant plus marking",
        ),
        ("marked_on_part", "the value marked on the part itself", "marked on part|marked"),
        ("recorded_before_strip", "the value recorded before the strip", "recorded before strip|as recorded"),
    ),
    _vocabulary(
        "part_condition",
        "condition of the gear set or of the bearings",
        ("new", "new"),
        ("used", "used", "old|reused"),
        ("any", "either", "all|both"),
    ),
    _vocabulary(
        "torque_kind",
        "how a torque was read",
        ("running", "slowly turning", "rolling|turning"),
        ("breakaway", "at the start of the turn", "starting"),
    ),
    _vocabulary(
        "seals",
        "whether seals were in place",
        ("on", "seals fitted", "fitted|with seals"),
        ("off", "seals not fitted", "without seals"),
    ),
    _vocabulary(
        "sign_rule",
        "how a marked deviation enters the target",
        ("added", "target = constant + marked", "plus|+"),
        ("subtracted", "target = constant - marked", "minus|-"),
    ),
    _vocabulary(
        "tooth_form",
        "form of the bevel teeth",
        ("straight", "straight bevel"),
        ("spiral", "spiral bevel"),
        ("hypoid", "hypoid"),
        ("helical", "helical pair"),
    ),
    _vocabulary(
        "job_kind",
        "kind of job",
        ("full_rebuild", "full rebuild", "full rebuild|rebuild|overhaul|full strip"),
        ("part_rebuild", "part rebuild", "part rebuild|partial rebuild|partial|repair"),
        ("setup_only", "setting only", "setup only|set-up only|setting only|set up only"),
        ("reseal", "reseal", "seals only|re-seal"),
        ("inspection", "inspection", "inspect|inspection only|look"),
    ),
    _vocabulary(
        "usage_basis",
        "how the usage is known",
        ("read", "read from a clock"),
        ("estimated", "estimated", "estimate|est"),
        ("unknown", "not known", "?|n/k"),
        ("clock_replaced", "the clock was replaced", "clock replaced|new clock"),
    ),
    _vocabulary(
        "duty",
        "what the unit does",
        ("highway", "long distances on made roads", "motorway|long haul|road"),
        ("delivery", "stop and start", "city|stop-start|urban"),
        ("tow", "towing", "towing|trailer"),
        ("off_road", "off the road", "off road|offroad|site"),
        ("competition", "competition", "race|racing"),
        ("mixed", "mixed", "general|private"),
    ),
    _vocabulary(
        "trace",
        "how much of a metal is in the oil",
        ("none", "none", "clean|no|nil"),
        ("trace", "a trace", "slight|little|some"),
        ("marked", "clearly there", "moderate|medium|yes"),
        ("heavy", "heavy", "lots|severe"),
    ),
    _vocabulary(
        "arrival",
        "how the unit came",
        ("loose", "came loose", "off the vehicle|bare unit"),
        ("in_vehicle", "came in the vehicle", "in vehicle|in the vehicle|fitted"),
    ),
    _vocabulary(
        "refitter",
        "who refitted the unit",
        ("us", "this workshop", "own|ourselves|workshop"),
        ("fleet", "the fleet's own fitters", "fleet fitters|fleet workshop"),
        ("other_workshop", "another workshop", "other workshop|other garage|garage"),
        ("owner", "the owner", "customer|himself|private"),
    ),
    _vocabulary(
        "earlier_work",
        "evidence of earlier work",
        ("none", "none seen", "no|never opened"),
        ("ours", "opened here before", "us"),
        ("others", "opened by others before", "other workshop|yes|somebody else"),
    ),
    _vocabulary(
        "complaint",
        "what the customer complains of",
        ("crunch", "crunches on the change", "grinds|grinding|crunching|hard to engage"),
        ("baulks", "baulks, will not go in", "will not go in|stiff|notchy"),
        ("jumps_out", "jumps out of gear", "jumps out|jumping out|drops out"),
        ("whine", "whine", "whines|howl"),
        ("rumble", "rumble", "rumbling|growl|bearing noise"),
        ("clunk", "clunk on take-up", "clunks|knock"),
        ("leak", "oil leak", "leaks|leaking|oil leak"),
        ("locked", "locked or broken", "seized|no drive"),
        ("vibration", "vibration", "shudder"),
        ("service", "no complaint, routine", "none|routine"),
    ),
    _vocabulary(
        "when_heard",
        "when the complaint shows",
        ("drive", "under drive"),
        ("coast", "on the coast", "overrun"),
        ("float", "at float", "cruise"),
        ("turns", "in turns", "cornering"),
        ("cold", "cold", "when cold"),
        ("hot", "hot", "when hot|warm"),
        ("take_up", "on take-up", "take up"),
        ("always", "always", "all the time"),
    ),
    _vocabulary(
        "shift_direction",
        "changing up or down",
        ("up", "changing up", "upshift"),
        ("down", "changing down", "downshift"),
        ("both", "both ways"),
    ),
    _vocabulary(
        "outcome",
        "what a comeback turned out to be",
        ("our_work", "our work", "our work|ours|workmanship"),
        ("part", "a part that failed", "part|part failure|faulty part"),
        ("fitter", "the fitting to the vehicle", "fitting|fitter"),
        ("outside_unit", "outside the unit", "outside the unit|clutch|linkage|oil"),
        ("abuse", "abuse", "misuse|overload"),
        ("no_fault_found", "no fault found", "no fault found|nff|none found"),
    ),
    _vocabulary(
        "payer",
        "who paid for a comeback",
        ("us", "this workshop", "workshop|warranty"),
        ("goodwill", "goodwill", "good will"),
        ("supplier", "the supplier", "vendor"),
        ("customer", "the customer", "client|owner"),
    ),
    _vocabulary(
        "grade",
        "condition grade of a component position",
        ("0", "as new", "as new"),
        ("1", "light wear", "light wear|light"),
        ("2", "worn within limits", "worn within limits|worn ok"),
        ("3", "worn beyond limits", "worn beyond limits|worn out"),
        ("4", "broken", "broken|destroyed"),
    ),
    _vocabulary(
        "damage_mode",
        "how it was damaged",
        ("ring_wear", "synchroniser ring worn", "ring wear|ring worn"),
        ("lining_loss", "lining lost", "lining loss|lining gone"),
        ("rounded_teeth", "engagement teeth rounded", "rounded teeth|rounded"),
        ("chipped_teeth", "engagement teeth chipped", "chipped"),
        ("slider_wear", "slider worn", "slider worn|sleeve worn"),
        ("fork_wear", "fork pads worn", "fork worn|pad wear"),
        ("fork_bent", "fork bent", "bent fork|bent"),
        ("macropitting", "macropitting of teeth (ISO 10825)", "pitting|pitted"),
        ("micropitting", "micropitting of teeth (ISO 10825)", "grey staining"),
        ("scuffing", "scuffing of teeth (ISO 10825)", "scuffed|scoring"),
        ("tooth_fracture", "tooth fracture (ISO 10825)", "broken tooth|tooth broken"),
        ("abrasive_wear", "abrasive wear (ISO 10825, ISO 15243)", "abrasion|worn"),
        ("spalling", "subsurface fatigue (ISO 15243)", "fatigue|flaking|spalled"),
        ("surface_fatigue", "surface initiated fatigue (ISO 15243)", "surface fatigue"),
        ("brinelling", "indentation from overload (ISO 15243)", "brinelled|indents"),
        ("false_brinelling", "false brinelling (ISO 15243)", "false brinelling"),
        ("fretting", "fretting corrosion (ISO 15243)", "fretting corrosion"),
        ("moisture_corrosion", "moisture corrosion (ISO 15243)", "rust|corrosion|corroded"),
        ("overheated", "overheated", "blued|heat|burnt"),
        ("cage_fracture", "cage fracture (ISO 15243)", "broken cage"),
        ("seal_leak", "seal leaks", "leak|leaking"),
        ("chain_stretch", "chain stretched", "stretched"),
        ("crack", "cracked", "cracked|fracture"),
        ("play", "too much play", "loose"),
    ),
    _vocabulary(
        "role",
        "what a finding was to the complaint",
        ("cause", "cause of the complaint", "cause of complaint|cause"),
        ("failed", "found failed", "found failed|also failed"),
        ("worn", "worn within limits", "worn within limits"),
        ("sound", "sound", "good|ok|none"),
    ),
    _vocabulary(
        "action",
        "what was done with it",
        ("reused", "reused", "refit|kept|re-used"),
        ("adjusted", "adjusted", "adjust"),
        ("reworked", "reworked", "lapped|polished|repaired"),
        ("replaced_failed", "replaced because failed", "replaced failed"),
        ("replaced_routine", "replaced as routine", "replaced routine|routine"),
        ("replaced_mate", "replaced as mate of another", "replaced as mate|mate"),
        ("left_worn", "left worn at the customer's wish", "left worn|customer declined|declined"),
    ),
    _vocabulary(
        "stage",
        "when in the job it was read",
        ("as_found", "as found", "as found|found|before|in"),
        ("trial", "trial n", "trial|try"),
        ("as_built", "as built", "as built|final|built|out"),
    ),
    _vocabulary(
        "bearing_state",
        "bearings used for the reading",
        ("setup", "set-up bearing", "set-up|set up|setting bearing"),
        ("final", "final bearing", "fitted"),
    ),
    _vocabulary(
        "lengthwise",
        "where along the tooth the contact lies",
        ("toe", "toe"),
        ("centre", "centre", "center|middle"),
        ("heel", "heel"),
    ),
    _vocabulary(
        "profile",
        "how high on the tooth the contact lies",
        ("face", "face", "high|top"),
        ("centre", "centre", "center|middle"),
        ("flank", "flank", "low|root"),
    ),
    _vocabulary(
        "thickness_basis",
        "nominal or measured thickness",
        ("nominal", "as marked"),
        ("measured", "measured", "meas"),
    ),
    _vocabulary(
        "movement",
        "what happened to a part",
        ("fitted", "fitted", "used|out"),
        ("returned", "sent back to stock or supplier", "sent back|back"),
        ("left_over", "left over", "left over|spare"),
    ),
    _vocabulary(
        "lot_basis",
        "what the lot mark is",
        ("lot", "the supplier's lot mark", "batch"),
        ("receipt_date", "receipt date in place of a lot", "receipt date|received"),
    ),
    _vocabulary(
        "origin",
        "where a part comes from",
        ("new", "new"),
        ("reconditioned", "reconditioned", "recon|exchange"),
        ("used_donor", "used, from a donor unit", "donor|used|second hand"),
        ("own_refitted", "own part refitted", "own part|refitted"),
        ("customer_supplied", "supplied by the customer", "customer supplied|customer's own"),
    ),
    _vocabulary(
        "place",
        "where the work was done",
        ("bench", "at the bench"),
        ("vehicle", "at the vehicle", "in vehicle|car|ramp"),
    ),
    _vocabulary(
        "waiting_on",
        "what a job waited for",
        ("part", "a part", "parts"),
        ("machine_shop", "the machine shop", "machine shop|outside work"),
        ("customer", "the customer's decision", "customer decision|customer|go-ahead"),
        ("bench", "a free bench", "capacity|technician"),
    ),
    _vocabulary(
        "answer",
        "answer to a quote",
        ("accepted", "accepted", "yes|ok"),
        ("declined", "declined", "no|rejected"),
        ("no_answer", "no answer", "no answer|none|open"),
    ),
    _vocabulary(
        "money_kind",
        "kind of a money line",
        ("deposit", "deposit"),
        ("credit_note", "credit note", "credit note|credit"),
        ("discount", "discount", "rebate"),
        ("supplier_credit", "warranty credit from a supplier", "supplier credit|supplier warranty credit"),
    ),
    _vocabulary(
        "test_kind",
        "kind of test",
        ("drive", "road drive", "road|bedding-in drive"),
        ("bench_spin", "bench spin", "bench|spin"),
    ),
    _vocabulary(
        "result",
        "how a test went",
        ("good", "good", "ok|pass|fine"),
        ("stiff", "stiff", "notchy"),
        ("noisy", "noisy", "noise|whine"),
        ("bad", "bad", "fail|not ok|crunch"),
    ),
    _vocabulary(
        "unit_state",
        "state of a unit when seen",
        ("running", "running", "in service|ok"),
        ("retired", "retired", "scrapped|sold|written off"),
        ("opened_elsewhere", "opened by another workshop", "opened elsewhere|elsewhere"),
    ),
    _vocabulary(
        "sighting_source",
        "why the unit was seen",
        ("register", "the fleet's own list", "fleet list"),
        ("routine", "a routine service or test", "service|mot|inspection"),
        ("comeback", "it came back", "complaint"),
    ),
)

# Words for yes and no in a flag field.
FLAG_WORDS: dict[str, bool] = {
    "yes": True, "y": True, "true": True, "1": True, "x": True, "j": True, "ja": True,
    "no": False, "n": False, "false": False, "0": False, "-": False, "nein": False,
}  # fmt: skip


def vocabulary_named(name: str) -> Vocabulary:
    """Return the vocabulary called `name`; raises KeyError with the names that exist."""
    for vocabulary in VOCABULARIES:
        if vocabulary.name == name:
            return vocabulary
    raise KeyError(f"no vocabulary '{name}'; there are {', '.join(v.name for v in VOCABULARIES)}")


def quantity_named(word: str) -> Quantity:
    """Return the quantity called `word`; raises KeyError with the quantities that exist."""
    for quantity in QUANTITIES:
        if quantity.word == word:
            return quantity
    raise KeyError(f"no quantity '{word}'; there are {', '.join(q.word for q in QUANTITIES)}")

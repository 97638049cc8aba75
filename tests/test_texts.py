"""No text of the product promises what it cannot keep: every string, comment, setting and page.

Three rules (practice 0.1, 0.2, 3.9, 3.17, 4.1, section 4): nothing says or implies that an abort, a
trip or a dead line ends a burn; that SAFE, or a dead circuit, is leave to go forward; that this
product conforms to a standard.
"""

import ast
import io
import re
import tokenize
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PLACES = ("daq", "firmware_protocol", "simulators", "config")
PAGES = ("README.md", "DEVELOPERS.md", "pyproject.toml")
KINDS = {".py", ".toml", ".md", ".c", ".h", ".txt", ".json", ".html"}
FOREIGN = {"LICENSE.txt"}

NOT = r"\b(?:not|no|never|nothing|nobody|none|cannot|can't|n't|without|neither|nor|refus\w+|instead of)\b"
ENDS = r"(?:stop(?:s|ped)?|end(?:s|ed)?|halt(?:s|ed)?|quench\w*|extinguish\w*|kill(?:s|ed)?|terminat\w+|shut(?:s|ting)?[ -](?:down|off)|put(?:s)? out|cut(?:s)? off)"
ACTS = r"(?:abort(?:s|ing)?|trip(?:s|ping)?|safe|space|stop button|letting go|key out|scrub|hold)"
MOTOR = r"(?:burn(?:ing)?|motor|combustion|thrust|propellant|flame|pressure rise)"
LEAVE = r"(?:approach(?:able|ed|ing)?|go(?:es|ing)? (?:forward|near|in)|come (?:near|forward)|walk (?:up|forward|in)|enter the (?:pad|range))"
NORMS = (
    r"(?:ISO|IEC|EN|DIN|ANSI|NFPA|ASTM|ASME|MIL-STD|NASA|CFR|GJB|QJ|AFSPC\w*|OSHA|UKRA|NAR|RCC|SIL)"
)

RULES = {
    "an abort ends a burn": (
        rf"\b{ACTS}\b[^,;:]{{0,60}}\b{ENDS}\b[^,;:]{{0,40}}\b{MOTOR}\b",
        rf"\b{ENDS}\b (?:the |a |this |your )?\b(?:burn(?:ing)?|motor|combustion|thrust)\b[^,;:]{{0,40}}\b(?:by|with|on|press) (?:an? |the )?\b{ACTS}\b",
        r"\bemergency (?:stop|shut-?down)\b[^,;:]{0,40}\b(?:burn|motor|thrust)\b",
        r"\bthrust termination\b|\bstops? the burn\b|\bburn (?:is|was) (?:stopped|aborted|ended) by\b",
    ),
    "safe means that people may go": (
        rf"\bsafe (?:to|for) (?:{LEAVE}|people|persons|everybody|the crew|work|touch)",
        r"\b(?:it|stand|pad|range|motor|area|all|everything|now) (?:is|are) (?:now )?safe\b(?! to disk)",
        rf"\bsafe\b[^,;]{{0,40}}\b(?:may|can|you can|clear to|free to)\b[^,;:]{{0,30}}\b{LEAVE}",
        rf"\b{LEAVE}\b[^,;:]{{0,40}}\b(?:when|once|if|as soon as|because)\b[^,;:]{{0,30}}\b(?:safe|dead|disarmed)\b",
        rf"\b(?:dead|disarmed|key out)\b[^;]{{0,30}}\b(?:so|then|means)\b[^,;:]{{0,30}}\b{LEAVE}",
        r"\ball safe\b|\bmade safe\b|\bstand safe\b",
    ),
    "conformity with a standard": (
        r"\bcompl(?:y|ies|ied|iant|iance) (?:with|to)\b",
        r"\bconform(?:s|ing|ity|ant|ance)? (?:with|to)\b",
        rf"\b(?:in accordance with|certified (?:to|by|under)|approved (?:to|by|under)|rated to|according to|meets?|fulfils?|satisf(?:y|ies)|compliant) (?:the |all |every )?\b{NORMS}\b",
        r"\b(?:ISO|IEC|MIL|SIL|CE)[ -]?(?:certified|compliant|rated|conformant)\b|\bSIL ?[1-4]\b",
        r"\b(?:intrinsically|functional(?:ly)?) safe(?:ty)?\b",
    ),
}  # fmt: skip
COMPILED = {
    rule: [re.compile(each, 0 if "NORMS" in rule else re.IGNORECASE) for each in patterns]
    for rule, patterns in RULES.items()
}
DENIED = re.compile(NOT, re.IGNORECASE)


def faults_of(text):
    """The rules that one text breaks, sentence by sentence; a denial clears its own sentence."""
    for sentence in re.split(r"(?<=[.!?;])\s+|\n\s*\n|\|", text):
        plain = re.sub(r"[`*\"'’“”]|\s+", " ", sentence)
        plain = re.sub(r"\s+", " ", plain).strip()
        if DENIED.search(plain):
            continue
        for rule, patterns in COMPILED.items():
            if any(pattern.search(plain) for pattern in patterns):
                yield rule, plain


def strings_of_python(source):
    """Every literal (an f-string as one text, with … for its parts) and every comment."""
    inner = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.JoinedStr):
            inner |= {id(each) for each in node.values}
            parts = (str(p.value) if isinstance(p, ast.Constant) else "…" for p in node.values)
            yield node.lineno, "".join(parts)
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inner:
            yield node.lineno, node.value
    block, start = [], 0
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            start = start or token.start[0]
            block.append(token.string.lstrip("# "))
        elif token.type != tokenize.NL and block:
            yield start, " ".join(block)
            block, start = [], 0


def strings_of_toml(source):
    def walk(value):
        if isinstance(value, dict):
            for each in value.values():
                yield from walk(each)
        elif isinstance(value, list):
            for each in value:
                yield from walk(each)
        elif isinstance(value, str):
            yield 0, value

    yield from walk(tomllib.loads(source))
    for n, line in enumerate(source.splitlines(), 1):
        if line.lstrip().startswith("#"):
            yield n, line.lstrip("# ")


def strings_of(path):
    source = path.read_text(encoding="utf-8")
    if path.suffix == ".py":
        return strings_of_python(source)
    if path.suffix == ".toml":
        return strings_of_toml(source)
    return [(0, source)]


def product_files():
    for place in PLACES:
        for path in sorted((ROOT / place).rglob("*")):
            if path.suffix in KINDS and path.name not in FOREIGN:
                yield path
    yield from (ROOT / page for page in PAGES if (ROOT / page).is_file())


def test_no_string_of_the_product_promises_too_much():
    """Practice 4: an abort opens the line, it does not end a burn; practice 0.2: two facts."""
    found, looked = [], 0
    for path in product_files():
        for line, text in strings_of(path):
            looked += 1
            found += [
                f"{path.relative_to(ROOT)}:{line}: {rule}: {sentence}"
                for rule, sentence in faults_of(text)
            ]
    assert looked > 3000
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("rule", "text"),
    [
        ("an abort ends a burn", "Press Space: ABORT stops the burn."),
        ("an abort ends a burn", "The trip shuts down the motor at 4.8 MPa."),
        ("an abort ends a burn", "Abort to end the burn early."),
        ("an abort ends a burn", "SAFE stops the motor."),
        ("an abort ends a burn", "Emergency stop for the motor."),
        ("an abort ends a burn", "The burn was ended by the crew."),
        ("an abort ends a burn", "Stop the motor with ABORT"),
        ("safe means that people may go", "The line is dead: safe to approach."),
        ("safe means that people may go", "The stand is safe."),
        ("safe means that people may go", "SAFE: you may go forward."),
        ("safe means that people may go", "Approach the motor once the phase is SAFE."),
        ("safe means that people may go", "Circuit dead, so go forward."),
        ("safe means that people may go", "ALL SAFE"),
        ("conformity with a standard", "This box complies with range rules."),
        ("conformity with a standard", "Designed in accordance with ISO 13849."),
        ("conformity with a standard", "The two-hand rule meets ISO 13851."),
        ("conformity with a standard", "SIL 2"),
    ],
)
def test_the_lint_sees(rule, text):
    assert rule in {found for found, _ in faults_of(text)}


@pytest.mark.parametrize(
    "text",
    [
        "An abort does not end a burn.",
        "Line opened; the motor may still burn.",
        "SAFE is no leave to go forward: read APPROACH.",
        "Recorder safe to disk up to 40 ms ago.",
        "Two-hand control: the idea of ISO 13851, nothing is claimed.",
        "Ends the pulse; the motor burns on.",
        "HOLD stops the clock.",
    ],
)
def test_the_lint_lets_pass(text):
    assert not list(faults_of(text))


def test_the_words_at_the_abort_say_what_it_does_not_do():
    """Practice 3.9: beside the ABORT of the screen stands that it does not stop a burn; 4.2, 4.3."""
    texts = [
        text for path in product_files() if path.suffix == ".py" for _, text in strings_of(path)
    ]
    said = [t for t in texts if re.search(r"abort|trip|line opened", t, re.IGNORECASE)]
    assert any(re.search(r"(not|no) (end|stop)[^.]*burn|may still burn", t) for t in said)

"""Small MusicXML texts that tests put together."""


def musicxml(*measures: str, part: str = "Music", attributes: str = "", lead: str = "") -> str:
    """One part; the first measure gets divisions 4, 4/4 and what `attributes` says instead."""
    first = attributes or (
        "<divisions>4</divisions><key><fifths>0</fifths></key>"
        "<time><beats>4</beats><beat-type>4</beat-type></time>"
        "<clef><sign>G</sign><line>2</line></clef>"
    )
    opening = f"<attributes>{first}</attributes>{lead}"
    bodies = [
        f'<measure number="{n}">{opening if n == 1 else ""}{m}</measure>'
        for n, m in enumerate(measures, start=1)
    ]
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1">'
        f"<part-name>{part}</part-name>"
        f'</score-part></part-list><part id="P1">{"".join(bodies)}</part></score-partwise>'
    )


def note(name: str, duration: int, *, more: str = "", before: str = "", after: str = "") -> str:
    """A note such as C4 or F#5 or Bb3; `before` stands first, `more` after the duration."""
    alter = {"#": 1, "b": -1}.get(name[1:-1], 0)
    sign = f"<alter>{alter}</alter>" if alter else ""
    kind = {1: "16th", 2: "eighth", 3: "eighth", 4: "quarter", 6: "quarter", 8: "half"}
    kind |= {12: "half", 16: "whole"}
    dot = "<dot/>" if duration in (3, 6, 12) else ""
    return (
        f"<note>{before}<pitch><step>{name[0]}</step>{sign}<octave>{name[-1]}</octave></pitch>"
        f"<duration>{duration}</duration>{more}<voice>1</voice><type>{kind[duration]}</type>{dot}"
        f"{after}</note>"
    )


def bar(*names: str) -> str:
    """A bar of equal notes that fill 4/4."""
    return "".join(note(n, 16 // len(names)) for n in names)


def barline(where: str, *inside: str) -> str:
    return f'<barline location="{where}">{"".join(inside)}</barline>'


def repeat(direction: str) -> str:
    return f'<repeat direction="{direction}"/>'


def ending(number: str, kind: str) -> str:
    return f'<ending number="{number}" type="{kind}"/>'


def words(text: str, sound: str) -> str:
    kind = f"<direction-type><words>{text}</words></direction-type>"
    return f"<direction>{kind}<sound {sound}/></direction>"

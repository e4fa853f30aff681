"""The walk that finds on which line each key stands."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dustcap.board.lines import TooDeep, line_index

TEXT = """# a comment with = and [ in it
top = 1
[a.b]          # a header
"quoted key" = { x = 1, y = { z = [1, 2] } }
'lit.eral' = \"\"\"
not = a key
\"\"\"
dotted.name = 'a # b'
list = [
  [1, 2],  # first
  { k = 1 },
]
[[many]]
one = 1
[[many]]
one = 2
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("a", "b"), 3),
        (("a", "b", "quoted key"), 4),
        (("a", "b", "quoted key", "y", "z"), 4),
        (("a", "b", "lit.eral"), 5),
        (("a", "b", "dotted", "name"), 8),
        (("a", "b", "list", "0", "1"), 10),
        (("a", "b", "list", "1", "k"), 11),
        (("many", "0", "one"), 14),
        (("many", "1", "one"), 16),
        (("a", "b", "absent"), 3),
        (("absent",), 1),
    ],
)
def test_each_key_has_its_line(path, line):
    """Tables, inline tables, lists, quoted and dotted keys are found; what is absent takes the line of its holder."""
    assert line_index(TEXT).line(path) == line


def test_the_text_of_these_tests_is_valid():
    """The standard library's reader takes the same text."""
    assert tomllib.loads(TEXT)["a"]["b"]["list"] == [[1, 2], {"k": 1}]


def test_what_is_written_twice_is_noticed():
    """The first and the second line of a repeated key are kept."""
    assert line_index("a = 1\nb = 2\na = 3\n").twice == [(("a",), 1, 3)]
    assert line_index("[[x]]\na = 1\n[[x]]\na = 2\n").twice == []


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 40, "a = " + "{b=" * 40, ".".join("a" * 40) + " = 1", "[" + "a." * 40 + "a]"]
)
def test_deep_nesting_is_refused(text):
    """Brackets and dotted names beyond any use are refused with their line."""
    with pytest.raises(TooDeep) as caught:
        line_index("\n" + text)

    assert caught.value.line == 2


keys = st.text("abcAB_-", min_size=1, max_size=6)
scalars = st.one_of(st.integers(-99, 99).map(str), st.text("ab #=[]{},.'", max_size=8).map(lambda text: f'"{text}"'))


@given(st.dictionaries(keys, st.lists(scalars, max_size=4), max_size=8))
def test_every_key_of_a_flat_file_is_on_the_line_where_it_stands(table):
    """Whatever the values hold, a key's line is the one that begins with it."""
    text = "".join(f"{key} = [{', '.join(values)}]\n" for key, values in table.items())
    assert set(tomllib.loads(text)) == set(table)

    index = line_index(text)

    assert [index.line((key,)) for key in table] == list(range(1, len(table) + 1))
    assert not index.twice

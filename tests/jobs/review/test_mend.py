"""What a failed shot says, and what to change."""

from review_rows import row

from carrellata.jobs.review.index_page import index_page
from carrellata.jobs.review.mend import mends
from carrellata.jobs.takes.why_no_take import SOLVE_AGAIN, no_setup_words
from carrellata.solver.setups.no_setup import Change, NoSetup

NONE = no_setup_words(
    NoSetup(
        broken={"floor": 1.0},
        limit="keep_out:kiosk",
        changes=(Change(limit="keep_out:kiosk", amount=0.0, unit=""),),
        head_in_frame=0.5,
        size_kept=0.25,
    )
)


def test_a_fault_names_its_field_and_that_it_is_to_change() -> None:
    one, two = mends(
        [
            "shots[3].lens_mm: 45 mm is not in the kit (18, 25)",
            "shots[1].subjects[0]: moves 41 m/s between 1043 and 1044: too fast",
        ]
    )
    assert (one.path, one.limit) == ("shots[3].lens_mm", "")
    assert one.message == "45 mm is not in the kit (18, 25)"
    assert one.change == "Change shots[3].lens_mm in the job, or what it names"
    assert two.path == "shots[1].subjects[0]"
    assert two.message.endswith("1044: too fast")


def test_what_the_job_is_not_to_blame_for_says_so() -> None:
    (lost,) = mends([f"shots[2]: its process was killed; {SOLVE_AGAIN}"])
    assert lost.change == "Nothing in the job need change"
    (late,) = mends(["shots[2]: it took too long"])
    assert late.change == "Look at shots[2] in the job, and solve it again"
    (letter,) = mends(['no setup holds all shots of setup "A" in hall'])
    assert "another setup letter" in letter.change


def test_a_shot_without_setup_names_the_tightest_limit_and_what_would_help() -> None:
    (one,) = mends([NONE])
    assert one.path == ""
    assert one.message.startswith("no setup holds the shot: the floor is too small")
    assert one.limit == 'keep-out "kiosk"'
    assert one.change == 'What would help: without keep-out "kiosk"'


def test_a_shot_without_setup_stands_in_the_first_block() -> None:
    rows = [row("a"), row("b", status="no_setup", take_key=None, error=NONE)]
    index = index_page(rows, {}, changes=None)
    block = index[index.index('id="failed"') : index.index('id="new"')]
    assert 'href="b.html"' in block
    assert 'href="a.html"' not in block
    assert ">no setup</span>" in block
    assert "Tightest limit: <b>keep-out &#34;kiosk&#34;</b>." in block
    assert "What would help: without keep-out" in block


def test_a_locked_take_is_marked_in_words() -> None:
    error = "the locked take no longer holds tonight's action: in frame 50 %"
    rows = [row("a", status="locked", error=error), row("b")]
    index = index_page(rows, {}, changes=None)
    assert index.count('<span class="locked">locked</span>') == 2  # strip and table
    assert "The locked take no longer holds" in index

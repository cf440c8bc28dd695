import threading

import pytest

from lightplan.progress import Progress, Stop, Stopped, unwatched


def test_a_wish_from_another_thread_ends_the_work_at_its_next_step():
    stop, seen = Stop(), []

    def work(watch):
        for step in range(10):
            watch(Progress(stage="counting", done=step, of=10))
            if step == 3:
                asker = threading.Thread(target=stop.ask)
                asker.start()
                asker.join()

    with pytest.raises(Stopped, match="asked to stop"):
        work(stop.before(seen.append))
    assert [progress.done for progress in seen] == [0, 1, 2, 3]


def test_work_goes_on_while_nobody_asks():
    stop = Stop()
    watch = stop.before(unwatched)
    watch(Progress(stage="counting"))
    assert not stop.asked


def test_a_wish_may_be_shared_with_others_through_their_event():
    event = threading.Event()
    one, other = Stop(event), Stop(event)
    one.ask()
    assert other.asked

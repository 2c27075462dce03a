"""Threads side by side: all done when left in peace, nothing waited for when not."""

from concurrent.futures import Future
from threading import Event

import pytest

from posefuse.threads import side_by_side


def test_all_work_is_done_when_the_pool_is_left() -> None:
    done: list[int] = []
    with side_by_side(3) as pool:
        for number in range(20):
            pool.submit(done.append, number)
    assert sorted(done) == list(range(20))


@pytest.mark.parametrize("fault", [ValueError, KeyboardInterrupt])
def test_a_fault_begins_nothing_more_and_waits_for_nothing(fault: type[BaseException]) -> None:
    has_begun, may_end = Event(), Event()
    begun: list[int] = []

    def work(number: int) -> None:
        begun.append(number)
        has_begun.set()
        may_end.wait(60.0)

    def fail_while_it_runs(tasks: list[Future[None]]) -> None:
        with side_by_side(1) as pool:
            tasks += [pool.submit(work, number) for number in range(4)]
            assert has_begun.wait(60.0)
            raise fault

    tasks: list[Future[None]] = []
    with pytest.raises(fault):
        fail_while_it_runs(tasks)
    running, *waiting = tasks
    assert not running.done()
    assert all(task.cancelled() for task in waiting)
    may_end.set()
    running.result(60.0)
    assert begun == [0]

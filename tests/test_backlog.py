"""Finding photo files, and work in several processes."""

import os
from pathlib import Path

import pytest

from visual_aid.backlog import in_order, photo_files


def square(number):
    return number * number


def square_or_die(number):
    if number in (3, 7):
        os._exit(1)
    return number * number


def lost(number):
    return -number


@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_results_come_in_the_order_of_the_tasks(jobs):
    tasks = [5, 1, 4, 2, 8, 3]
    assert list(in_order(square, tasks, jobs, lost)) == [25, 1, 16, 4, 64, 9]
    assert list(in_order(square, [], jobs, lost)) == []


def test_a_process_that_dies_costs_its_own_task_alone():
    assert list(in_order(square_or_die, list(range(10)), 2, lost)) == [0, 1, 4, -3, 16, 25, 36, -7, 64, 81]


def test_an_error_of_the_work_itself_is_passed_on():
    with pytest.raises(TypeError):
        list(in_order(square, [1, "x"], 2, lost))


@pytest.fixture
def yard(tmp_path):
    for name in ("b.JPG", "a.png", "notes.txt", ".hidden.jpg", "sub/c.heic", ".git/d.jpg", "drawn/e.jpg"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.touch()
    return tmp_path


def names(paths, root):
    return [str(path.relative_to(root)) for path in paths]


def test_folders_are_searched_with_their_subfolders(yard):
    assert names(photo_files([yard]), yard) == ["a.png", "b.JPG", "drawn/e.jpg", "sub/c.heic"]


def test_a_folder_of_results_is_left_out(yard):
    found = photo_files([yard], without=yard / "drawn")
    assert names(found, yard) == ["a.png", "b.JPG", "sub/c.heic"]


def test_named_files_are_taken_as_they_are_once_and_first_come_first(yard):
    named = [yard / "sub" / "c.heic", yard / "notes.txt", Path("missing.jpg"), yard / "notes.txt"]
    assert photo_files([*named, yard / "sub"]) == named[:3]

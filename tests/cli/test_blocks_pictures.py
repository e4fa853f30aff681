"""The library of blocks, drawn into a folder by the command."""

from xml.etree import ElementTree


def test_every_block_is_drawn_into_the_folder(run, tmp_path):
    """One picture for each block of the list, with the name of the block as its title."""
    ran = run("blocks", "--pictures", tmp_path, "--json")

    assert ran.code == 0, ran.err
    names = {block["name"] for block in ran.json["blocks"]}
    files = sorted(tmp_path.glob("*.svg"))
    titles = {ElementTree.fromstring(file.read_bytes())[0].text for file in files}
    assert titles == names
    assert sorted(ran.json["files"]) == [str(file) for file in files]


def test_a_folder_that_is_not_there_is_refused(refused, tmp_path):
    """Exit 2, before anything is drawn."""
    refused("blocks", "--pictures", tmp_path / "nowhere", code=2, says="nowhere")

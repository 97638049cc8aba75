import pytest

from tests.journal.disks import SteppedWriter, put_some


@pytest.fixture
def small_segment(tmp_path_factory):
    """Bytes of one closed segment of about 9 KiB: records of every kind, two marks with padding."""
    folder = tmp_path_factory.mktemp("small")
    writer = SteppedWriter(folder)
    writer.start()
    for first in (0, 8):
        put_some(writer, first, 8)
        writer.write()
        writer.turn()
    put_some(writer, 16, 8)
    writer.close()
    (path,) = folder.iterdir()
    return path.read_bytes()

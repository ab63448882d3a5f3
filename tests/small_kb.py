"""A small knowledge base for `bin/test --quick`: some seventy species cut from kb/, with all rules, treatments, words and tables."""

from __future__ import annotations

import fcntl
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

# Spread over classes, climates, treatments and doubts; most are asked for by name somewhere in the tests.
SPECIES = """
    Cercis canadensis, Cercis siliquastrum  # hard coat, then cold; its relative, for genus pages
    Gleditsia triacanthos, Robinia pseudoacacia, Acacia mangium, Lupinus sericeus, Trifolium subterraneum  # hard coats
    Nelumbo nucifera, Hovenia dulcis, Tilia americana, Cotinus coggygria
    Terminalia chebula, Hevea brasiliensis, Musa acuminata, Moringa oleifera  # the warm tropics
    Mangifera indica, Theobroma cacao, Durio zibethinus, Rhizophora mangle  # killed by drying
    Quercus robur, Quercus rubra, Quercus alba  # sown fresh, or kept damp
    Acer saccharum, Acer rubrum, Acer platanoides, Acer griseum  # one genus of many ways
    Viburnum prunifolium, Viburnum acerifolium, Trillium grandiflorum, Asarum canadense  # two winters, roots first
    Caulophyllum thalictroides, Convallaria majalis, Paeonia suffruticosa, Lilium auratum
    Galanthus nivalis, Fraxinus excelsior, Taxus baccata  # small embryos, warm then cold
    Prunus avium, Prunus serotina, Prunus persica, Crataegus monogyna, Lindera melissifolia
    Sequoiadendron giganteum, Betula pendula, Carpinus betulus, Pieris floribunda, Agave striata
    Lobelia cardinalis, Primula japonica, Asclepias tuberosa, Actaea racemosa
    Anigozanthos manglesii, Anigozanthos viridis, Banksia leptophylla, Erica umbellata  # fire and smoke
    Arctostaphylos glandulosa, Emmenanthe penduliflora
    Papaver rhoeas, Centaurea cyanus, Descurainia pinnata, Bromus tectorum, Geranium robertianum  # annuals
    Epipactis palustris, Orchis mascula, Platanthera chapmanii  # dust that a laboratory sows
    Begonia x semperflorens-cultorum  # a hybrid
"""


def names() -> list[str]:
    """The species of SPECIES, sorted."""
    lines = (line.split("#")[0].strip() for line in SPECIES.strip().splitlines())
    return sorted(name for line in lines for name in line.split(", "))


def cut(whole: Path, small: Path) -> None:
    """Copies from `whole`, the shipped kb/, everything but the species, genera and families that SPECIES does not need."""
    species = {_field(path, "name"): path for path in whole.glob("species/*/*.yaml")}
    lacking = [name for name in names() if name not in species]
    assert not lacking, f"not in kb/species, so take them off tests/small_kb.py: {lacking}"
    taken = [species[name] for name in names()]
    genera = {path.parent.name for path in taken}
    families = {_field(path, "family").lower() for path in taken}
    taken += [path for path in whole.glob("genera/*.yaml") if path.stem in genera]
    taken += [path for path in whole.glob("families/*.yaml") if path.stem in families]
    for folder in whole.iterdir():
        if folder.is_file():
            taken.append(folder)
        elif folder.name not in ("species", "genera", "families"):
            taken += [path for path in folder.rglob("*") if path.is_file()]
    for path in taken:
        to = small / path.relative_to(whole)
        to.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, to)


def _field(path: Path, name: str) -> str:
    match = re.search(rf"^{name}: ['\"]?(.*?)['\"]?$", path.read_text("utf-8"), re.M)
    return match[1] if match else ""


@contextmanager
def made_once(folder: Path) -> Iterator[bool]:
    """Whether `folder` is still to be made by the caller; other processes of the session wait meanwhile."""
    done = folder.with_suffix(".made")
    with open(folder.with_suffix(".lock"), "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield not done.exists()
        done.touch()

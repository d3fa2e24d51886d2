"""Which mode of action an active ingredient has: the table behind ``modes``. No product names.

Insecticides are grouped after the IRAC classification. Its edition 11.1 (January 2024) is known to
exist, but its table could not be read; what each row rests on stands beside it:

- "class": the chemical class was read in an open vector-control ontology (MIRO, release of 2014)
- "listed": the active is listed there
- "group-name": number and site of the group were read in an older EPA/IRAC summary list
- "site": the target site was read in a university extension compendium (talk of 2017)

All else, and every exact sub-group, is from memory: hold it against the current table before you
rely on it. Rodenticides: Univ. of Nebraska G1646, an APVMA class page, a New Zealand trade note and
the RRAC guide (all anticoagulants share one mode of action), text-seen; alphachloralose from
memory.
"""

from collections.abc import Mapping

EDITION = "IRAC 11.1 (January 2024); codes from memory except as marked"

# Code: name of the group, and what it does, in our words.
GROUPS: Mapping[str, tuple[str, str]] = {
    "1A": ("Carbamates", "block the nerve enzyme acetylcholinesterase"),
    "1B": ("Organophosphates", "block the nerve enzyme acetylcholinesterase"),
    "2B": ("Phenylpyrazoles", "block chloride channels that GABA opens"),
    "3A": ("Pyrethroids and pyrethrins", "keep sodium channels of the nerves open"),
    "4A": ("Neonicotinoids", "compete at the nicotinic acetylcholine receptor"),
    "5": ("Spinosyns", "act on the nicotinic acetylcholine receptor, site I"),
    "6": ("Avermectins and milbemycins", "act on chloride channels that glutamate opens"),
    "7A": ("Juvenile hormone analogues", "act on the juvenile hormone receptor"),
    "7B": ("Fenoxycarb", "acts on the juvenile hormone receptor"),
    "7C": ("Pyriproxyfen", "acts on the juvenile hormone receptor"),
    "8C": ("Fluorides", "act on many sites, not on one"),
    "8D": ("Borates", "act on many sites, not on one"),
    "13": ("Pyrroles", "uncouple the cell's supply of energy"),
    "15": ("Benzoylureas", "stop the building of chitin"),
    "17": ("Cyromazine", "upsets the moult of flies"),
    "20A": ("Hydramethylnon", "blocks complex III of the cell's supply of energy"),
    "22A": ("Oxadiazines", "block voltage-dependent sodium channels"),
    "24A": ("Phosphides", "block complex IV of the cell's supply of energy"),
    "28": ("Diamides", "act on the ryanodine receptor of the muscles"),
    "30": ("Meta-diamides and isoxazolines", "act on chloride channels that GABA opens"),
    "UNM": ("Physical dusts", "dry out or abrade; no site of action"),
    "none": ("Synergists", "slow the breakdown of an insecticide; kill nothing themselves"),
}

# Active ingredient: group, and what that rests on.
ACTIVES: Mapping[str, tuple[str, str]] = {
    "bendiocarb": ("1A", "class; group-name 1"),
    "propoxur": ("1A", "class; group-name 1"),
    "dichlorvos": ("1B", "class; group-name 1"),
    "pirimiphos-methyl": ("1B", "from memory"),
    "fipronil": ("2B", "class; group-name 2; site"),
    "bifenthrin": ("3A", "group-name 3; site"),
    "beta-cyfluthrin": ("3A", "group-name 3; site"),
    "cyfluthrin": ("3A", "group-name 3; site"),
    "cypermethrin": ("3A", "group-name 3; site"),
    "alpha-cypermethrin": ("3A", "group-name 3; site"),
    "deltamethrin": ("3A", "group-name 3; site"),
    "lambda-cyhalothrin": ("3A", "group-name 3; site"),
    "permethrin": ("3A", "group-name 3; site"),
    "etofenprox": ("3A", "group-name 3"),
    "imiprothrin": ("3A", "from memory"),
    "tetramethrin": ("3A", "from memory"),
    "d-phenothrin": ("3A", "from memory"),
    "pyrethrins": ("3A", "class; group-name 3; site"),
    "acetamiprid": ("4A", "class"),
    "clothianidin": ("4A", "class"),
    "dinotefuran": ("4A", "class"),
    "imidacloprid": ("4A", "class"),
    "thiamethoxam": ("4A", "class"),
    "spinosad": ("5", "listed; group-name 5"),
    "abamectin": ("6", "class; group-name 6; site"),
    "emamectin benzoate": ("6", "class; group-name 6"),
    "s-methoprene": ("7A", "class; group-name 7"),
    "hydroprene": ("7A", "class; group-name 7"),
    "fenoxycarb": ("7B", "from memory"),
    "pyriproxyfen": ("7C", "class; group-name 7"),
    "boric acid": ("8D", "from memory"),
    "disodium octaborate tetrahydrate": ("8D", "from memory"),
    "sulfuryl fluoride": ("8C", "from memory"),
    "chlorfenapyr": ("13", "listed; group-name 13"),
    "diflubenzuron": ("15", "class"),
    "novaluron": ("15", "class"),
    "hexaflumuron": ("15", "from memory"),
    "cyromazine": ("17", "group-name 17"),
    "hydramethylnon": ("20A", "listed; group-name 20"),
    "indoxacarb": ("22A", "listed; site"),
    "phosphine": ("24A", "listed"),
    "chlorantraniliprole": ("28", "from memory"),
    "broflanilide": ("30", "from memory"),
    "diatomaceous earth": ("UNM", "from memory"),
    "silica": ("UNM", "from memory; taken as physical, may not be listed on its own"),
    "piperonyl butoxide": ("none", "listed outside the insecticides; synergist from memory"),
}

# Used too often they do not breed resistance that a change of group would cure: from memory.
NEVER_COUNT = frozenset({"UNM", "8D", "none"})

FIRST_GENERATION = ("warfarin", "diphacinone", "chlorophacinone", "coumatetralyl", "pindone")
SECOND_GENERATION = (
    "bromadiolone",
    "difenacoum",
    "brodifacoum",
    "difethialone",
    "flocoumafen",
)
OTHER_RODENTICIDES = ("cholecalciferol", "bromethalin", "zinc phosphide", "alphachloralose")

# Other spellings of names above: case, hyphens, brackets and Greek letters are seen to in
# ``modes``. Mixtures of mirror images go with the one that is listed; no other substance does.
SPELLINGS: Mapping[str, str] = {
    "alphacypermethrin": "alpha-cypermethrin",
    "betacyfluthrin": "beta-cyfluthrin",
    "lambdacyhalothrin": "lambda-cyhalothrin",
    "lamda cyhalothrin": "lambda-cyhalothrin",
    "pyrethrin": "pyrethrins",
    "pyrethrum": "pyrethrins",
    "pyrethrum extract": "pyrethrins",
    "natural pyrethrins": "pyrethrins",
    "phenothrin": "d-phenothrin",
    "methoprene": "s-methoprene",
    "s hydroprene": "hydroprene",
    "pirimiphosmethyl": "pirimiphos-methyl",
    "emamectin": "emamectin benzoate",
    "orthoboric acid": "boric acid",
    "disodium octaborate": "disodium octaborate tetrahydrate",
    "sulphuryl fluoride": "sulfuryl fluoride",
    "phosphine gas": "phosphine",
    "kieselguhr": "diatomaceous earth",
    "diatomite": "diatomaceous earth",
    "silicon dioxide": "silica",
    "amorphous silica": "silica",
    "silica amorphous aerogel": "silica",
    "amorphous silica gel": "silica",
    "silica gel": "silica",
    "silica aerogel": "silica",
    "pbo": "piperonyl butoxide",
    "piperonylbutoxide": "piperonyl butoxide",
    "diphacin": "diphacinone",
    "diphenadione": "diphacinone",
    "coumatetralyle": "coumatetralyl",
    "vitamin d3": "cholecalciferol",
    "colecalciferol": "cholecalciferol",
    "alpha chloralose": "alphachloralose",
    "chloralose": "alphachloralose",
}

"""The demo: an invented service company in the invented city of Port Marlow, with its history.

``cast`` says who, ``town`` which sites, ``cupboard`` which products; ``pictures`` draws plans,
photos and papers; ``history`` says what a monitor shows on an ordinary day, ``stories`` what goes
wrong where; ``desk`` does the work of the day through the services; ``load`` puts it all together.
Nothing is written past a service, so that chain, seals and trail are those of any installation.
``main_job`` does the main job over HTTP as a ``visitor`` at a browser.
"""

"""Checks every stored paper of a decision."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from compliance.models import DecisionPaper
from compliance.stored_papers import trouble_of


class Command(BaseCommand):
    help = (
        "Compare the stored paper of every decision with its hash on record; ends with an error "
        "if one is missing or another."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        many = broken = 0
        made = DecisionPaper.objects.filter(made_at__isnull=False).order_by("pk")
        for paper in made.select_related("decision__action").iterator(chunk_size=200):
            many += 1
            if trouble := trouble_of(paper):
                broken += 1
                self.stderr.write(f"paper {paper.pk} ({paper.decision}): {trouble}")
        if broken:
            papers = "1 paper of a decision does" if broken == 1 else f"{broken} papers do"
            raise CommandError(f"{papers} not stand.")
        self.stdout.write(f"All {many} papers of decisions stand.")

"""Rows for tests, one factory for each model; every value is invented.

A factory's company follows from what it belongs to: `UnitFactory(site=site)` takes the company of the site, and
`UnitFactory(company=company)` makes a site and a client there.
"""

import factory
from factory.django import DjangoModelFactory

from accounts import models as accounts


class UserFactory(DjangoModelFactory):
    class Meta:
        model = accounts.User
        skip_postgeneration_save = True

    email = factory.Sequence(lambda n: f"person{n}@people.example")
    username = factory.SelfAttribute("email")


class CompanyFactory(DjangoModelFactory):
    class Meta:
        model = accounts.Company

    name = factory.Sequence(lambda n: f"Company {n}")


class ClientFactory(DjangoModelFactory):
    class Meta:
        model = accounts.Client

    company = factory.SubFactory(CompanyFactory)
    name = factory.Sequence(lambda n: f"Client {n}")


class MembershipFactory(DjangoModelFactory):
    class Meta:
        model = accounts.Membership

    user = factory.SubFactory(UserFactory)
    company = factory.SubFactory(CompanyFactory)
    role = "owner"

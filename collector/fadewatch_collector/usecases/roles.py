"""Give an operator another role."""

from fadewatch_collector.rules.operators import Role, clean_name, subject_of
from fadewatch_collector.store import roles as rows
from fadewatch_collector.store.accounts import end_sign_ins, known_account
from fadewatch_collector.store.audit import note
from fadewatch_collector.usecases.bearer import COMMAND_LINE
from fadewatch_collector.usecases.services import Services


async def set_role(
    services: Services, name: str, role: Role, *, by: str = COMMAND_LINE
) -> None:
    """Give an operator another role, at once; their sessions end.

    API tokens act with the new role from their next request on.

    Raises
    ------
    NotFound
        There is no such operator.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        operator = (await known_account(connection, clean_name(name))).operator
        await rows.set_role(connection, operator.id, role)
        if role != operator.role:
            await end_sign_ins(connection, operator.id)
        await note(
            connection,
            now,
            who=by,
            action="role set",
            subject=subject_of(operator),
            detail={"before": operator.role, "after": role},
        )

"""Mail, where a server for it is set: links and nothing else. Without one, people hand links over."""

from __future__ import annotations

import logging
import smtplib
import ssl
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage

from app.settings import Settings

# The person waits for the answer meanwhile.
SECONDS = 10
# The last three are of an address that is none.
UNSENT = (OSError, smtplib.SMTPException, MessageError, ValueError, LookupError)
log = logging.getLogger(__name__)


def can_mail(settings: Settings) -> bool:
    return bool(settings.mail_server and settings.mail_from)


def send(settings: Settings, to: str, subject: str, text: str) -> bool:
    """Whether the server took the mail; why it did not is in the log, without the text."""
    if not can_mail(settings):
        return False
    try:
        mail = _letter(settings, to, subject, text)
        with _server(settings) as server:
            if settings.mail_user:
                server.login(settings.mail_user, settings.mail_password.get_secret_value())
            server.send_message(mail)
    except UNSENT as wrong:
        log.warning("a mail was not sent: %s", type(wrong).__name__)
        return False
    return True


def _letter(settings: Settings, to: str, subject: str, text: str) -> EmailMessage:
    """Raises for what is not one address, so that nobody else gets the letter."""
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = settings.mail_from, Address(addr_spec=to), subject
    mail.set_content(text)
    return mail


def _server(settings: Settings) -> smtplib.SMTP:
    name, _, port = settings.mail_server.rpartition(":")
    host = name.strip("[]")
    if settings.mail_tls == "tls":
        context = ssl.create_default_context()
        return smtplib.SMTP_SSL(host, int(port), timeout=SECONDS, context=context)
    server = smtplib.SMTP(host, int(port), timeout=SECONDS)
    if settings.mail_tls == "starttls":
        try:
            server.starttls(context=ssl.create_default_context())
        except BaseException:
            server.close()
            raise
    return server

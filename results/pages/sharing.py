"""What a page says of itself where it is shared: its address, and its own blocks once more."""

from __future__ import annotations

from django import template
from django.http import HttpRequest
from django.template.loader_tags import BLOCK_CONTEXT_KEY
from django.utils.html import escape
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag(takes_context=True)
def again(context: template.Context, name: str) -> SafeString:
    """What the page has in this block, which stands in it elsewhere already."""
    block = context.render_context[BLOCK_CONTEXT_KEY].get_block(name)
    written: SafeString = block.nodelist.render(context)
    return written


@register.simple_tag(takes_context=True)
def absolute(context: template.Context, address: str = "") -> str:
    """An address with the service's own before it; without one, that of the page itself."""
    request: HttpRequest | None = context.get("request")
    if request is None:
        return address
    return request.build_absolute_uri(address or context.get("permanent") or request.path)


@register.simple_tag(takes_context=True)
def frame(context: template.Context, address: str, title: str) -> str:
    """HTML to paste into another page; as text, which the template escapes once more."""
    source = escape(absolute(context, address))
    size = 'width="360" height="380" style="border: 0"'
    return f'<iframe src="{source}" title="{escape(title)}" {size}></iframe>'

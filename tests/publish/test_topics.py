from __future__ import annotations

import pytest

from flowlog.publish.topics import TopicError, Topics
from flowlog.rig.model import Broker


def test_topics_are_prefix_version_rig_and_kind():
    topics = Topics.of(Broker("localhost", topic="farm/flowlog"), "cart-1")
    assert topics.status == "farm/flowlog/1/cart-1/status"
    assert topics.reading == "farm/flowlog/1/cart-1/reading"
    assert topics.alert == "farm/flowlog/1/cart-1/alert"
    assert topics.route == "farm/flowlog/1/cart-1/route"


@pytest.mark.parametrize("prefix", ["", "a+b", "#", "$SYS", "/a", "a/", "a\0b", "x" * 201])
def test_a_prefix_that_mqtt_does_not_allow_is_named_in_one_line(prefix):
    with pytest.raises(TopicError) as caught:
        Topics(prefix, "cart-1")
    assert str(caught.value).startswith("broker.topic: ")
    assert "\n" not in str(caught.value)

// A test that another one names is made before it; nothing else moves.
#include "cli/files/job/job_order.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace assay::cli {
namespace {

using testing::ElementsAre;

Test test_of(const std::string& id, std::map<std::string, FieldValue> fields = {}) {
    Test test;
    test.id = id;
    test.fields = std::move(fields);
    return test;
}

std::vector<std::string> ordered(std::vector<Test> tests) {
    put_after_those_named(tests);
    std::vector<std::string> ids;
    ids.reserve(tests.size());
    for (const Test& test : tests) ids.push_back(test.id);
    return ids;
}

TEST(JobOrder, StaysWhereNothingIsNamed) {
    EXPECT_THAT(ordered({test_of("c"), test_of("a"), test_of("b", {{"driven", std::string("z")}})}),
                ElementsAre("c", "a", "b"));
}

TEST(JobOrder, PutsWhatIsNamedFirst) {
    EXPECT_THAT(
        ordered({test_of("inner", {{"loaded", std::string("with")}, {"unloaded", std::string("open")}}),
                 test_of("other"), test_of("with"), test_of("open")}),
        ElementsAre("other", "with", "open", "inner"));
    EXPECT_THAT(ordered({test_of("parameters", {{"free_air", std::vector<std::string>{"air"}}}),
                         test_of("air", {{"match", std::string("inputs")}}), test_of("inputs")}),
                ElementsAre("inputs", "air", "parameters"));
}

TEST(JobOrder, EndsWhereTestsNameEachOtherThemselvesOrNobody) {
    EXPECT_THAT(
        ordered({test_of("a", {{"floor", std::string("b")}}), test_of("b", {{"floor", std::string("a")}})}),
        ElementsAre("a", "b"));
    EXPECT_THAT(ordered({test_of("a", {{"floor", std::string("a")}}),
                         test_of("b", {{"match", std::string("none")}})}),
                ElementsAre("a", "b"));
}

// A load may bear a test's name.
TEST(JobOrder, ALoadsNameIsNoTests) {
    EXPECT_THAT(ordered({test_of("apart", {{"driven", std::string("left")}}), test_of("left")}),
                ElementsAre("apart", "left"));
}

}  // namespace
}  // namespace assay::cli

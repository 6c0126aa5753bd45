// SPDX-License-Identifier: MIT
#include "host/record/file.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <csignal>
#include <sys/resource.h>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;

TEST_CASE("a file is written whole and nothing else is left in the folder") {
    const TempFolder folder;
    REQUIRE(write_file(folder.file("a.json"), "content", IfExists::kRefuse));
    CHECK(folder.read("a.json") == "content");
    CHECK(folder.entries() == 1);
}

TEST_CASE("an existing file is only replaced when asked, and keeps its content otherwise") {
    const TempFolder folder;
    const std::string path = folder.write("a.json", "old");
    const Status refused = write_file(path, "new", IfExists::kRefuse);
    REQUIRE_FALSE(refused);
    CHECK_THAT(refused.error().text, Contains("exists") && Contains("--force"));
    CHECK(folder.read("a.json") == "old");
    CHECK(folder.entries() == 1);
    REQUIRE(write_file(path, "new", IfExists::kReplace));
    CHECK(folder.read("a.json") == "new");
    CHECK(folder.entries() == 1);
}

TEST_CASE("a write that fails in the middle leaves the old file and no temporary one") {
    const TempFolder folder;
    const std::string path = folder.write("a.json", "old");
    // A limit on file size makes write() fail after 1000 bytes, like a full disc.
    struct rlimit before {};
    REQUIRE(::getrlimit(RLIMIT_FSIZE, &before) == 0);
    const auto old_handler = std::signal(SIGXFSZ, SIG_IGN);
    struct rlimit small = before;
    small.rlim_cur = 1000;
    REQUIRE(::setrlimit(RLIMIT_FSIZE, &small) == 0);
    const Status failed = write_file(path, std::string(5000, 'x'), IfExists::kReplace);
    ::setrlimit(RLIMIT_FSIZE, &before);
    std::signal(SIGXFSZ, old_handler);
    REQUIRE_FALSE(failed);
    CHECK(failed.error().kind == ErrorKind::kFile);
    CHECK(folder.read("a.json") == "old");
    CHECK(folder.entries() == 1);
}

TEST_CASE("places that cannot be written are told before the work, with what to do") {
    const TempFolder folder;
    CHECK_THAT(check_writable(folder.file("no/such/a.json"), IfExists::kRefuse).error().text,
               Contains("create the folder"));
    CHECK_THAT(check_writable(folder.path().string(), IfExists::kReplace).error().text,
               Contains("directory"));
    const std::string path = folder.write("a.json", "old");
    CHECK_FALSE(check_writable(path, IfExists::kRefuse));
    CHECK(check_writable(path, IfExists::kReplace));
    CHECK(check_writable(folder.file("b.json"), IfExists::kRefuse));
    CHECK(folder.entries() == 1);
    CHECK_FALSE(write_file(folder.file("no/such/a.json"), "x", IfExists::kReplace));
    CHECK_FALSE(write_file(folder.path().string(), "x", IfExists::kReplace));
}

TEST_CASE("reading checks size and kind first") {
    const TempFolder folder;
    const std::string path = folder.write("a", "12345");
    CHECK(read_file(path, 5, "file").value() == "12345");
    CHECK_THAT(read_file(path, 4, "record").error().text, Contains("5 bytes, expected at most 4"));
    CHECK(read_file(folder.write("empty", ""), 5, "file").value().empty());
}

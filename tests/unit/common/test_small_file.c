/* That a small file comes whole or not at all, with its reason.
 * Must never write outside its temp folder. */
#include "tests/unit/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/small_file.h"

static char path[] = "/tmp/roomwake-small-XXXXXX";

static void write_bytes(size_t count)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    for (size_t i = 0; i < count; i++) {
        assert_int_not_equal(fputc('a' + (int)(i % 26), file), EOF);
    }
    assert_int_equal(fclose(file), 0);
}

static void a_file_comes_whole_whatever_its_size_up_to_the_most(void **state)
{
    static const size_t sizes[] = {0, 1, 65535, 65536, 65537, 131072, 200000};
    (void)state;
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        char *bytes = NULL;
        size_t length = 1;
        struct error error;
        write_bytes(sizes[i]);
        assert_int_equal(small_file_read(path, 200000, &bytes, &length, &error), 0);
        assert_int_equal(length, sizes[i]);
        assert_int_equal(strlen(bytes), sizes[i]);
        free(bytes);
    }
}

static void a_byte_too_many_or_no_file_is_an_error_that_names_it(void **state)
{
    char *bytes = NULL;
    size_t length = 0;
    struct error error;
    (void)state;
    write_bytes(101);
    assert_int_equal(small_file_read(path, 100, &bytes, &length, &error), -1);
    assert_int_equal(error.code, ERROR_RANGE);
    assert_non_null(strstr(error.text, path));
    assert_null(bytes);
    assert_int_equal(small_file_read(path, 101, &bytes, &length, &error), 0);
    free(bytes);
    assert_int_equal(small_file_read("/nowhere/at/all", 100, &bytes, &length, &error), -1);
    assert_int_equal(error.code, ERROR_NOT_FOUND);
    assert_int_equal(small_file_read("/tmp", 100, &bytes, &length, &error), -1);
    assert_int_equal(error.code, ERROR_IO);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_file_comes_whole_whatever_its_size_up_to_the_most),
        cmocka_unit_test(a_byte_too_many_or_no_file_is_an_error_that_names_it),
    };
    int made = mkstemp(path);
    if (made < 0) {
        return 1;
    }
    (void)close(made);
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    (void)unlink(path);
    return failed;
}
